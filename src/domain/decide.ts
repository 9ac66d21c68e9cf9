/**
 * The one decision: does this entry fit the ledger, and what does it change?
 * {@link decide} is pure; {@link enter} records in the books what was decided, once it is durable.
 */
import { type Book, chainOf, emptyBook, keepChain, type Subject } from './book.ts';
import { type Chain, chainAfter, type Item, itemOf, type Refusal } from './chains.ts';
import { changesOf, type DrainChange } from './changes.ts';
import { newestAt } from './chart.ts';
import { type DrainView, drainView, isOfWholeDrain } from './drain.ts';
import type { Entry } from './entry.ts';
import { isInterim } from './interim.ts';
import type { Policy } from './policy.ts';
import type { Row } from './row.ts';

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
  const remove = before === undefined ? undefined : itemOf(before);
  const add = itemOf(chain);
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
    late: add !== undefined && newest !== null && add.at < newest && !isRevision(entry),
    changes,
  };
}

const isRevision = ({ body }: Entry): boolean =>
  body.kind === 'corrected' || body.kind === 'entered-in-error';

function viewAfter(
  book: Book,
  remove: Item | undefined,
  add: Item | undefined,
  { settings }: Policy,
): DrainView {
  const touches = [remove, add].some((item) => item !== undefined && isOfWholeDrain(item));
  if (!touches) return book.view;
  const items = new Map(book.ofWholeDrain);
  if (remove !== undefined) items.delete(remove.id);
  if (add !== undefined) items.set(add.id, add);
  return drainView(book.drain, [...items.values()], settings);
}

/** Records an accepted entry in the books. */
export function enter(subject: Subject, accepted: Accepted, policy: Policy): void {
  if (accepted.interim) {
    const book = subject.get(accepted.entry.drain);
    if (book !== undefined) book.head = accepted.entry.seq;
    return;
  }
  for (const change of accepted.changes) {
    const book = subject.get(change.drain) ?? emptyBook(change.drain, policy);
    subject.set(change.drain, book);
    book.view = change.view;
    book.circumstances = change.circumstances;
    book.chart = change.chart;
    book.watch = change.watch;
    for (const { key, version, status } of change.issued) {
      if (version > 1) book.reissues.set(key, { version, status });
    }
    if (change.drain === accepted.entry.drain) keepChain(book, accepted.chain, accepted.entry);
  }
}
