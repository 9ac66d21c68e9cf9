/**
 * A frame read once as JSON with its holes open, so that what a resource says at one place is read without making its
 * whole text: of a reading's resources, nine tenths are the same each time.
 */
import { type Frame, type Framed, holesIn } from './frame.ts';

const HOLE = Symbol('hole');
const PARTS = Symbol('parts');

/** A value that a hole stands for as a whole, by the number of the hole. */
interface Hole {
  readonly [HOLE]: number;
}

/** A string with holes in it: what is fixed, and numbers of holes. */
interface Parts {
  readonly [PARTS]: readonly (string | number)[];
}

export interface Skeleton {
  /** JSON, but for what {@link isOpen} says of it. */
  readonly root: unknown;
  /** Holes that stand for whole values, and holes within strings. */
  readonly ofValues: readonly number[];
  readonly ofStrings: readonly number[];
}

/** What fills a skeleton: by number, the value of each hole that stands for one, and the text of the others. */
export interface Filling {
  readonly values: readonly unknown[];
  readonly texts: readonly string[];
}

/** Stands in a text for a hole until it is read. */
const KEY = '\u0001';

/** @returns undefined where a hole stands for something else than a value, or a part of a string */
export function readSkeleton(frame: Frame): Skeleton | undefined {
  // The sign is taken by what the text itself says.
  if (frame.text.includes('\\u0001')) return undefined;
  const ofValues = new Set<number>();
  const ofStrings = new Set<number>();
  let text = '';
  let isString = false;
  for (const piece of holesIn(frame)) {
    if (typeof piece === 'string') {
      // An escaped quote ends nothing; an escaped backslash escapes nothing.
      const bare = piece.replace(/\\./g, '');
      // The hole after it says what is escaped.
      if (bare.endsWith('\\')) return undefined;
      text += piece;
      isString = isString !== isOdd(bare.split('"').length - 1);
      continue;
    }
    (isString ? ofStrings : ofValues).add(piece);
    text += isString ? `\\u0001${piece}\\u0001` : `{"\\u0001":${piece}}`;
  }
  try {
    const root = JSON.parse(text, (_, value) => opened(value)) as unknown;
    return { root, ofValues: [...ofValues], ofStrings: [...ofStrings] };
  } catch {
    return undefined;
  }
}

const isOdd = (count: number): boolean => count % 2 === 1;

function opened(value: unknown): unknown {
  if (typeof value === 'string' && value.includes(KEY))
    return {
      [PARTS]: value.split(KEY).map((part, i) => (i % 2 === 1 ? Number(part) : part)),
    } satisfies Parts;
  if (typeof value !== 'object' || value === null) return value;
  if (KEY in value) return { [HOLE]: Number(value[KEY]) } satisfies Hole;
  if (Object.keys(value).some((name) => name.includes(KEY))) throw new SyntaxError('a hole within a name');
  return value;
}

export const isHole = (node: unknown): node is Hole =>
  typeof node === 'object' && node !== null && HOLE in node;

const isParts = (node: unknown): node is Parts => typeof node === 'object' && node !== null && PARTS in node;

/** Whether anything in it is still to be filled. */
export function isOpen(node: unknown): boolean {
  if (typeof node !== 'object' || node === null) return false;
  return isHole(node) || isParts(node) || Object.values(node).some(isOpen);
}

/** Beyond so many all are read again. */
const MOST_KEPT = 20_000;
const kept = new Map<string, unknown>();

/** Texts such as a reference to the patient fill many holes: each is read once. @throws {SyntaxError} */
function readValue(text: string): unknown {
  const known = kept.get(text);
  if (known !== undefined) return known;
  const value = JSON.parse(text) as unknown;
  if (kept.size >= MOST_KEPT) kept.clear();
  kept.set(text, value);
  return value;
}

/** @returns undefined where the holes say more than a value, or a part of a string: then only the whole text can be read */
export function fillingOf({ ofValues, ofStrings }: Skeleton, { holes }: Framed): Filling | undefined {
  if (ofStrings.some((hole) => /["\\]/.test(holes[hole] ?? '"'))) return undefined;
  const values: unknown[] = [];
  try {
    for (const hole of ofValues) values[hole] = readValue(holes[hole] ?? '');
  } catch {
    return undefined;
  }
  return { values, texts: holes };
}

/** How a part of a skeleton is read off what fills it. */
export type ReadNode = (filling: Filling) => unknown;

/** A part of a skeleton, looked at once for all that fill it. */
export function nodeReader(node: unknown): ReadNode {
  if (typeof node !== 'object' || node === null || !isOpen(node)) return () => node;
  if (isHole(node)) return ({ values }) => values[node[HOLE]];
  if (isParts(node)) return textReader(node[PARTS]);
  if (Array.isArray(node)) {
    const each = node.map(nodeReader);
    return (filling) => each.map((read) => read(filling));
  }
  const members = Object.entries(node).map(([name, each]) => [name, nodeReader(each)] as const);
  return (filling) => {
    const object: Record<string, unknown> = {};
    for (const [name, read] of members) object[name] = read(filling);
    return object;
  };
}

/** @param parts fixed text, and numbers of holes */
export function textReader(parts: readonly (string | number)[]): (filling: Filling) => string {
  return ({ texts }) => {
    let text = '';
    for (const part of parts) text += typeof part === 'number' ? texts[part] : part;
    return text;
  };
}

/** Fixed text and numbers of holes of a string with holes in it; undefined for anything else. */
export const partsOf = (node: unknown): readonly (string | number)[] | undefined =>
  isParts(node) ? node[PARTS] : undefined;

/** A part of a skeleton as the resource says it. */
export const filled = (node: unknown, filling: Filling): unknown => nodeReader(node)(filling);
