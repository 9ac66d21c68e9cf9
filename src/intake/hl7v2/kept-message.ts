import { bytesIn, charsetNamed } from './charset.ts';

/** A message that was kept because nothing could be made of it, as it came. @param body canonical text of what was kept */
export function bytesOfKept(body: string): Buffer {
  const { message, charset } = JSON.parse(body) as { message: string; charset: string };
  return bytesIn(message, charsetNamed(charset));
}
