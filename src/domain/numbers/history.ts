/**
 * An immutable list that grows at one end and is searched from there in O(log n): each node keeps, beside the
 * one before it, a jump further back (the skew-binary scheme of Myers, 'An applicative random-access stack',
 * Information Processing Letters 17, 1983). States that share a past share its nodes, so a saved state costs nothing.
 */
export interface Node<T> {
  readonly item: T;
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

function lengthOf<T>(history: History<T>): number {
  return history === null ? 0 : history.length;
}
