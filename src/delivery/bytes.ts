/** Texts in turn as bytes, without a text of the whole. */

let scratch = Buffer.allocUnsafe(256 * 1024);
/** A character of UTF-16 takes three bytes of UTF-8 at most. */
const MOST_BYTES_EACH = 3;

/** @returns in UTF-8 */
export function bytesOf(pieces: Iterable<string>): Buffer {
  let length = 0;
  for (const piece of pieces) {
    const most = length + piece.length * MOST_BYTES_EACH;
    if (most > scratch.length) scratch = Buffer.concat([scratch.subarray(0, length)], 2 * most);
    length += scratch.write(piece, length);
  }
  return Buffer.from(scratch.subarray(0, length));
}
