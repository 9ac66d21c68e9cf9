/** A text cut anywhere into what is fixed in a frame and what fills its holes. */
import fc from 'fast-check';
import { FrameBuilder, type Framed } from '../../src/json/frame.ts';

interface Cut {
  readonly length: number;
  readonly isHole: boolean;
}

export const cuts: fc.Arbitrary<readonly Cut[]> = fc.array(
  fc.record({ length: fc.integer({ min: 1, max: 60 }), isHole: fc.boolean() }),
);

/** What is left of the text after the last cut is fixed. */
export function cutInto(text: string, at: readonly Cut[]): Framed {
  const to = new FrameBuilder();
  let start = 0;
  for (const { length, isHole } of at) {
    const piece = text.slice(start, start + length);
    if (isHole) to.hole(piece);
    else to.fixed(piece);
    start += length;
  }
  return to.fixed(text.slice(start)).built();
}
