/** Messages that were kept because nothing could be made of them. */

import type { MessageMapping } from '../domain/vocabulary/message-mapping.ts';
import { bytesIn, charsetNamed } from '../intake/hl7v2/charset.ts';
import { type Named, namedIn } from '../intake/hl7v2/named.ts';
import { readMessage } from './read-message.ts';

/** The message as it came. @param body canonical text of what was kept */
export function bytesOfKept(body: string): Buffer {
  const { message, charset } = JSON.parse(body) as { message: string; charset: string };
  return bytesIn(message, charsetNamed(charset));
}

/** Whom a message names, whether or not anything else can be made of it. */
export function namedInBytes(bytes: Buffer, mapping: MessageMapping): Named {
  const { message } = readMessage(bytes);
  return message === null ? { drains: [], patients: [] } : namedIn(message, mapping);
}
