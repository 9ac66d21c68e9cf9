/**
 * The one decision: does this entry fit the ledger, and what does it change?
 * {@link decide} is pure; {@link enter} records in the books what was decided, once it is durable.
 */

import type { Policy } from './advisories/policy.ts';
import { type Book, chainOf, emptyBook, keepChain, type Subject } from './book/book.ts';
import { changesOf, type DrainChange, renew } from './book/changes.ts';
import { isInterim } from './devices/interim.ts';
import { type Chain, chainAfter, type Item, itemOf, type Refusal } from './fold/chains.ts';
import { newestAt } from './fold/chart.ts';
import { type DrainView, drainView, isOfWholeDrain } from './fold/drain.ts';
import type { Row } from './fold/row.ts';
import type { Entry } from './vocabulary/entry.ts';

export interface Accepted {
  readonly entry: Entry;
  readonly chain: Chain;
  /** The row of what the entry says; null when it withdraws. */
  readonly row: Row | null;
  /** Whether later statements were charted before it came. */
  readonly late: boolean;
  /** The entry's own drain first. */
  readonly changes: readonly DrainChange[];
  /** Kept, and left out of the chart: `row` and `changes` are what would have followed. */
  readonly interim: boolean;
}

export function decide(subject: Subject, entry: Entry, policy: Policy): Accepted | Refusal {
  const book = subject.get(entry.drain) ?? emptyBook(entry.drain, policy);
  const chain = chainAfter(entry, (member) => chainOf(book, member));
  if ('refused' in chain) return chain;
  const before = book.chains.get(chain.first.id);
  const remove = itemsOf(before);
  const add = itemsOf(chain);
  const cause = isRevision(entry) ? 'corrected' : 'amended';
  const view = viewAfter(book, remove, add, policy);
  const others = [...subject.values()].filter((other) => other !== book);
  const { changes, rows } = changesOf({ book, view, others, moved: { remove, add }, cause }, policy);
  const newest = newestAt(book.chart);
  const row = rows.find((each) => each.item.id === chain.first.id) ?? null;
  return {
    entry,
    chain,
    row,
    interim: row !== null && entry.body.kind === 'reading' && isInterim(book.chart, row, changes),
    late: newest !== null && add.some(({ at }) => at < newest) && !isRevision(entry),
    changes,
  };
}

function itemsOf(chain: Chain | undefined): readonly Item[] {
  const item = chain === undefined ? undefined : itemOf(chain);
  return item === undefined ? NONE : [item];
}

const NONE: readonly Item[] = [];

const isRevision = ({ body }: Entry): boolean =>
  body.kind === 'corrected' || body.kind === 'entered-in-error';

function viewAfter(
  book: Book,
  remove: readonly Item[],
  add: readonly Item[],
  { settings }: Policy,
): DrainView {
  if (!remove.some(isOfWholeDrain) && !add.some(isOfWholeDrain)) return book.view;
  const items = new Map(book.ofWholeDrain);
  for (const { id } of remove) items.delete(id);
  for (const item of add) items.set(item.id, item);
  return drainView(book.drain, [...items.values()], settings);
}

/** Records an accepted entry in the books. */
export function enter(subject: Subject, accepted: Accepted, policy: Policy): void {
  const { entry, chain, changes } = accepted;
  if (accepted.interim) {
    const book = subject.get(entry.drain);
    if (book !== undefined) book.head = entry.seq;
    return;
  }
  if (!subject.has(entry.drain)) subject.set(entry.drain, emptyBook(entry.drain, policy));
  renew(subject, changes);
  const book = subject.get(entry.drain);
  if (book !== undefined) keepChain(book, chain, entry);
}
