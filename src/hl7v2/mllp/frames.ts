/**
 * Frames of MLLP (HL7 v2 Transport Specification: MLLP, Release 1): a vertical tab, the message, a file separator and a
 * carriage return, however they are cut into chunks.
 */

const START = 0x0b;
const END = 0x1c;
const RETURN = 0x0d;
const FEED = 0x0a;

export type FrameEvent =
  | { readonly kind: 'frame'; readonly bytes: Buffer }
  /** Bytes that stand in no frame, line ends aside. */
  | { readonly kind: 'junk' }
  /** A frame that another began inside of: it never ended. */
  | { readonly kind: 'cut' }
  /** What follows is not read any more. */
  | { readonly kind: 'too-long'; readonly beginning: Buffer };

export interface FrameReader {
  push(chunk: Buffer): readonly FrameEvent[];
  /** Whether a frame has begun and not ended. */
  isInside(): boolean;
}

const FIRST_BYTES = 4096;

/** Memory is that of the frame alone, whether it comes in one chunk or byte by byte. */
export function createFrameReader(mostBytes: number): FrameReader {
  let kept = Buffer.allocUnsafe(FIRST_BYTES);
  let length = 0;
  let state: 'outside' | 'inside' | 'ending' | 'broken' = 'outside';

  function keep(part: Buffer): void {
    if (length + part.length > kept.length) {
      const larger = Buffer.allocUnsafe(Math.max(kept.length * 2, length + part.length));
      kept.copy(larger, 0, 0, length);
      kept = larger;
    }
    part.copy(kept, length);
    length += part.length;
  }

  function begin(): void {
    [length, state] = [0, 'inside'];
  }

  function finish(): FrameEvent {
    // The separator was kept, as it would have been data without the carriage return.
    const bytes = Buffer.from(kept.subarray(0, length - 1));
    [kept, length, state] = [Buffer.allocUnsafe(FIRST_BYTES), 0, 'outside'];
    return { kind: 'frame', bytes };
  }

  /** @returns where it stopped */
  function outside(chunk: Buffer, at: number, events: FrameEvent[]): number {
    const start = chunk.indexOf(START, at);
    const rest = chunk.subarray(at, start < 0 ? chunk.length : start);
    if (rest.some((byte) => byte !== RETURN && byte !== FEED)) events.push({ kind: 'junk' });
    if (start < 0) return chunk.length;
    begin();
    return start + 1;
  }

  /** @returns where it stopped */
  function inside(chunk: Buffer, at: number, events: FrameEvent[]): number {
    const end = chunk.indexOf(END, at);
    const part = chunk.subarray(at, end < 0 ? chunk.length : end + 1);
    const start = part.lastIndexOf(START);
    if (start >= 0) {
      events.push({ kind: 'cut' });
      begin();
      return at + start + 1;
    }
    keep(part);
    if (length > mostBytes + 1) {
      state = 'broken';
      events.push({ kind: 'too-long', beginning: Buffer.from(kept.subarray(0, mostBytes)) });
    } else if (end >= 0) state = 'ending';
    return at + part.length;
  }

  return {
    push(chunk) {
      const events: FrameEvent[] = [];
      for (let at = 0; at < chunk.length && state !== 'broken'; ) {
        if (state === 'outside') at = outside(chunk, at, events);
        else if (state === 'ending' && chunk[at] === RETURN) {
          events.push(finish());
          at += 1;
        } else {
          state = 'inside';
          at = inside(chunk, at, events);
        }
      }
      return events;
    },
    isInside: () => state === 'inside' || state === 'ending',
  };
}

export const framed = (message: Buffer): Buffer =>
  Buffer.concat([Buffer.from([START]), message, Buffer.from([END, RETURN])]);
