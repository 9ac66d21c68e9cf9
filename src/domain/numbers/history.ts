/**
 * An immutable list that grows at one end and is searched from there in O(log n): each node keeps, beside the
 * one before it, a jump further back (the skew-binary scheme of Myers, 'An applicative random-access stack',
 * Information Processing Letters 17, 1983). States that share a past share its nodes, so a saved state costs nothing.
 */
export interface Node<T> {
  readonly item: T;
  /** Of the list up to here; of one that was cut, of what is at hand of it. */
  readonly length: number;
  readonly before: History<T>;
  readonly jump: History<T>;
}

export type History<T> = Node<T> | null;

export function append<T>(history: History<T>, item: T): Node<T> {
  const jump = history?.jump ?? null;
  const even =
    history !== null && lengthOf(history) - lengthOf(jump) === lengthOf(jump) - lengthOf(jump?.jump ?? null);
  return {
    item,
    length: lengthOf(history) + 1,
    before: history,
    jump: even ? (jump?.jump ?? null) : history,
  };
}

/** The newest node whose item satisfies `isOld`; if an item is old, every one before it must be old too. */
export function newestWhere<T>(history: History<T>, isOld: (item: T) => boolean): History<T> {
  let node = history;
  while (node !== null && !isOld(node.item)) {
    node = node.jump !== null && !isOld(node.jump.item) ? node.jump : node.before;
  }
  return node;
}

/** An earlier item was asked for of a list of which only the newest are at hand. */
export class BeyondRecent extends Error {
  constructor() {
    super('only the newest part is at hand: read all of it, and ask again');
  }
}

/** Before the first item of a list that was cut: it never passes for the beginning. */
const CUT: Node<never> = {
  get item(): never {
    throw new BeyondRecent();
  },
  length: 0,
  get before(): never {
    throw new BeyondRecent();
  },
  // No search jumps over what is at hand.
  jump: null,
};

/** Whether there is a node, and its item is at hand. */
export const isAtHand = <T>(history: History<T>): history is Node<T> => history !== null && history !== CUT;

/** The newest items at hand, so many at most, the newest first. */
export function newestItems<T>(history: History<T>, most: number): readonly T[] {
  const newest: T[] = [];
  for (let node = history; isAtHand(node) && newest.length < most; node = node.before) newest.push(node.item);
  return newest;
}

/** A list that ends with these, the newest first; to look for an earlier one throws {@link BeyondRecent}. */
export const cutList = <T>(newest: readonly T[]): History<T> =>
  newest.reduceRight<History<T>>((list, item) => append(list, item), CUT);

function lengthOf<T>(history: History<T>): number {
  return history === null ? 0 : history.length;
}
