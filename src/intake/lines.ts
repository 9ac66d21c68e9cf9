/** Splits bytes into lines of bounded length, in memory that does not grow with what is sent. */

export type Line =
  | { readonly number: number; readonly text: string }
  | { readonly number: number; readonly fault: 'too-long' | 'not-utf-8' };

const LF = 0x0a;

/**
 * Lines in order, numbered from 1; blank ones are counted and left out, a byte order mark and CR before LF are taken off.
 * @param most bytes of a line; what is longer is passed over and told as a fault
 */
export async function* linesOf(source: AsyncIterable<Uint8Array>, most: number): AsyncGenerator<Line> {
  let kept: Uint8Array[] = [];
  let length = 0;
  let number = 0;
  const add = (part: Uint8Array): void => {
    length += part.length;
    if (length <= most) kept.push(part);
    else kept = [];
  };
  const take = (): Line | null => {
    number += 1;
    const line = lineOf(number, kept, length > most);
    kept = [];
    length = 0;
    return line;
  };
  for await (const chunk of source) {
    let start = 0;
    for (let end = chunk.indexOf(LF); end >= 0; end = chunk.indexOf(LF, start)) {
      add(chunk.subarray(start, end));
      start = end + 1;
      const line = take();
      if (line !== null) yield line;
    }
    if (start < chunk.length) add(chunk.subarray(start));
  }
  if (length === 0) return;
  const last = take();
  if (last !== null) yield last;
}

const utf8 = new TextDecoder('utf-8', { fatal: true });

function lineOf(number: number, parts: readonly Uint8Array[], isTooLong: boolean): Line | null {
  if (isTooLong) return { number, fault: 'too-long' };
  try {
    // The decoder takes a byte order mark off the start; only the first line may have one.
    const text = utf8.decode(Buffer.concat(parts)).replace(/\r$/, '');
    return text.trim() === '' ? null : { number, text };
  } catch {
    return { number, fault: 'not-utf-8' };
  }
}
