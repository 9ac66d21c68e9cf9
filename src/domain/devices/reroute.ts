/** What it changes that entries of a device leave a drain or enter it. */

import type { Policy } from '../advisories/policy.ts';
import { type MovableChain, type MovedChains, moveChains, type Subject } from '../book/book.ts';
import { changesOf, type DrainChange, renew } from '../book/changes.ts';
import { type Item, itemOf } from '../fold/chains.ts';

export interface Rerouting extends MovedChains {
  readonly drain: string;
  /** `corrected` where what was charted of the device had been wrong, `amended` where it was not charted yet. */
  readonly cause: 'amended' | 'corrected';
}

/** Entries that name a device never bear on the drain as a whole, so its view stays as it is. */
export function reroute(
  subject: Subject,
  { drain, left, entered, cause }: Rerouting,
  policy: Policy,
): readonly DrainChange[] {
  const book = subject.get(drain);
  if (book === undefined) throw new Error(`entries of a device are on drain ${drain}, which is not there`);
  const others = [...subject.values()].filter((other) => other !== book);
  const moved = { remove: itemsOf(left), add: itemsOf(entered) };
  return changesOf({ book, view: book.view, others, moved, cause }, policy).changes;
}

/** Records it in the books. @param seq place of the entry that says so in the stream of the drain */
export function enterRerouting(
  subject: Subject,
  { drain, ...moved }: Rerouting,
  changes: readonly DrainChange[],
  seq: number,
): void {
  renew(subject, changes);
  const book = subject.get(drain);
  if (book === undefined) return;
  moveChains(book, moved);
  book.head = seq;
}

const itemsOf = (chains: readonly MovableChain[]): Item[] =>
  chains.flatMap(({ chain }) => itemOf(chain) ?? []);
