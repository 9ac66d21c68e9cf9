/** Bytes to a message that can be taken, or to what is wrong with it and as much as an answer needs. */
import type { MessageMapping } from '../domain/vocabulary/message-mapping.ts';
import { ASCII, type Charset, charsetOf, textIn } from '../intake/hl7v2/charset.ts';
import { type Er7, parseEr7 } from '../intake/hl7v2/er7.ts';
import { type Hl7Fault, Unreadable } from '../intake/hl7v2/fault.ts';
import { headerFault } from '../intake/hl7v2/header.ts';
import { type Named, namedIn } from '../intake/hl7v2/named.ts';
import type { Answered } from './acknowledge.ts';

export interface Read extends Answered {
  readonly message: Er7;
}

/** @returns beside what is wrong as much as an answer needs */
export function readMessage(bytes: Buffer): Read | (Answered & { readonly fault: Hl7Fault }) {
  let charset: Charset = ASCII;
  let message: Er7 | null = null;
  try {
    charset = charsetOf(bytes);
    const decode = (part: Buffer): string => textIn(part, charset);
    message = parseEr7(textIn(bytes, charset), decode);
    const [msh = null] = message.segments;
    if (msh === null) throw new Error('a message has a header once it is read');
    const fault = headerFault(message, msh);
    return fault === null ? { message, msh, charset } : { message, msh, charset, fault };
  } catch (error) {
    if (!(error instanceof Unreadable)) throw error;
    return { ...headerAlone(bytes), charset, fault: error.fault };
  }
}

/** What can be read of the header of a message that cannot be read whole, so that its sender is told which it was. */
export function headerAlone(bytes: Buffer): Pick<Answered, 'message' | 'msh'> {
  const [first = ''] = bytes.toString('latin1').split(/[\r\n]/, 1);
  try {
    const message = parseEr7(first.replaceAll(/[^\x20-\x7e]/g, '?'), (part) => part.toString('latin1'));
    return { message, msh: message.segments[0] ?? null };
  } catch (error) {
    if (!(error instanceof Unreadable)) throw error;
    return { message: null, msh: null };
  }
}

/** Whom a message names, whether or not anything else can be made of it. */
export function namedInBytes(bytes: Buffer, mapping: MessageMapping): Named {
  const { message } = readMessage(bytes);
  return message === null ? { drains: [], patients: [] } : namedIn(message, mapping);
}
