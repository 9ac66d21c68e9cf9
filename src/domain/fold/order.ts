import type { Identifier, Statement } from '../vocabulary/entry.ts';
import type { Item } from './chains.ts';

/**
 * Order at one instant. A reading stands before the unit change of its minute; levels-at.ts decides which of the
 * two runs its level belongs to, and step.ts puts those of the old one before a second set-up.
 */
const RANK: Readonly<Record<Statement['kind'], number>> = {
  placed: 0,
  'drain-updated': 0,
  reviewed: 0,
  'set-up': 1,
  reading: 2,
  'unit-changed': 3,
  'level-rebased': 3,
  'suction-changed': 4,
  clamped: 4,
  unclamped: 4,
  'seal-adjusted': 4,
  'negativity-vented': 4,
  'tube-manipulated': 4,
  weighed: 5,
  instilled: 6,
  sampled: 7,
  removed: 8,
};

/** Time, then rank of kind, then code points of the first entry's identifier: total, so arrival order is forgotten. */
export function compareItems(a: Item, b: Item): number {
  return (
    a.at - b.at ||
    RANK[a.content.kind] - RANK[b.content.kind] ||
    compareIdentifiers(a.identifier, b.identifier)
  );
}

export function compareIdentifiers(a: Identifier, b: Identifier): number {
  return compareCodePoints(a.system, b.system) || compareCodePoints(a.value, b.value);
}

/** JavaScript compares UTF-16 units, which puts U+10000 before U+E000; code points do not. */
function compareCodePoints(a: string, b: string): number {
  if (a === b) return 0;
  const left = [...a];
  const right = [...b];
  for (let i = 0; i < left.length && i < right.length; i += 1) {
    const difference = (left[i]?.codePointAt(0) ?? 0) - (right[i]?.codePointAt(0) ?? 0);
    if (difference !== 0) return difference;
  }
  return left.length - right.length;
}
