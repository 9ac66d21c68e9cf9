/**
 * JSON texts that differ only in a few places: a frame with marked holes, and what fills them.
 *
 * One bedside reading issues some 17 Observations, 20 kB of text of which 1 kB is news. Kept as frame and holes they
 * are kept exactly, in a tenth of the space and without compressing anything.
 */
export interface Framed {
  readonly frame: Frame;
  readonly holes: readonly string[];
}

/** One object for each distinct frame text, so that the same frame is known again by identity. */
export interface Frame {
  readonly text: string;
}

/** Marks a hole; JSON text never holds it raw. The character after it says which hole. */
const MARK = '\u0001';
const FIRST = 0x20;
const MOST_HOLES = 0x7e - FIRST;
/** Beyond so many known pieces all are forgotten: senders choose which fields they chart, so the number has no bound of its own. */
const MOST_PIECES = 200_000;

/** Where a frame has come to after some pieces; the way back spells its text. Finding a frame costs no hashing of it. */
interface Place {
  readonly before: Place | null;
  readonly piece: string;
  readonly next: Map<string, Place>;
  /** Where the last text that came here went on: the next one mostly does as well, and no look-up is needed. */
  latest: Place | null;
  frame: Frame | null;
}

const placeAfter = (before: Place | null, piece: string): Place => ({
  before,
  piece,
  next: new Map(),
  latest: null,
  frame: null,
});

let start = placeAfter(null, '');
let pieces = 0;

function goneOn(place: Place, text: string): Place {
  let next = place.next.get(text);
  if (next === undefined) {
    next = placeAfter(place, text);
    place.next.set(text, next);
    pieces += 1;
  }
  place.latest = next;
  return next;
}

/** Collects a text piece by piece. The same value in two places is one hole. */
export class FrameBuilder {
  private place: Place;
  private readonly holes: string[] = [];

  constructor() {
    if (pieces > MOST_PIECES) {
      start = placeAfter(null, '');
      pieces = 0;
    }
    this.place = start;
  }

  /** Text that every use of the frame shares. */
  fixed(text: string): this {
    const { latest } = this.place;
    this.place = latest !== null && latest.piece === text ? latest : goneOn(this.place, text);
    return this;
  }

  /** Text of this use; must be JSON where it stands. @throws {RangeError} after too many */
  hole(text: string): this {
    let index = this.holes.indexOf(text);
    if (index === -1) index = this.holes.push(text) - 1;
    if (index > MOST_HOLES) throw new RangeError(`a frame has at most ${MOST_HOLES} holes`);
    return this.fixed(MARKS[index] ?? '');
  }

  built(): Framed {
    this.place.frame ??= { text: spelled(this.place) };
    return { frame: this.place.frame, holes: this.holes };
  }
}

const MARKS = Array.from({ length: MOST_HOLES + 1 }, (_, index) => MARK + String.fromCharCode(FIRST + index));

function spelled(place: Place): string {
  const backwards: string[] = [];
  for (let each: Place | null = place; each !== null; each = each.before) backwards.push(each.piece);
  return backwards.reverse().join('');
}

/** What a frame is made of, kept with it: one that is used a million times is taken apart once. */
const partsOf = new WeakMap<Frame, readonly (string | number)[]>();

/** The text, exactly as it was collected. */
export function fill({ frame, holes }: Framed): string {
  let parts = partsOf.get(frame);
  if (parts === undefined) {
    parts = holesIn(frame);
    partsOf.set(frame, parts);
  }
  let text = '';
  for (const part of parts) text += typeof part === 'number' ? (holes[part] ?? '') : part;
  return text;
}

/** What a frame is made of, in order: fixed text, and numbers of holes. */
export function holesIn({ text }: Frame): readonly (string | number)[] {
  const [opening = '', ...rest] = text.split(MARK);
  return [opening, ...rest.flatMap((part) => [part.charCodeAt(0) - FIRST, part.slice(1)])];
}
