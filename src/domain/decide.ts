/**
 * The one decision: does this entry fit the ledger, and what does it change?
 * {@link decide} is pure; {@link enter} records in the books what was decided, once it is durable.
 */
import { type Book, chainOf, emptyBook, keepChain, type Subject, weightsFor } from './book.ts';
import { type Chain, chainAfter, type Item, itemOf, type Refusal } from './chains.ts';
import { type Chart, newestAt, refold } from './chart.ts';
import type { Circumstances } from './circumstances.ts';
import { changedSince, circumstancesOf, type DrainView, drainView, isOfWholeDrain } from './drain.ts';
import type { Entry } from './entry.ts';
import { type Issued, issues } from './issue.ts';
import type { Row } from './row.ts';
import type { Settings } from './settings.ts';
import { epochMs } from './units.ts';

/** What an entry changes on one drain. */
export interface DrainChange {
  readonly drain: string;
  readonly view: DrainView;
  readonly circumstances: Circumstances;
  readonly chart: Chart;
  readonly issued: readonly Issued[];
}

export interface Accepted {
  readonly entry: Entry;
  readonly chain: Chain;
  /** The row of what the entry says; null when it withdraws. */
  readonly row: Row | null;
  /** Whether later statements were charted before it came. */
  readonly late: boolean;
  /** The entry's own drain first. */
  readonly changes: readonly DrainChange[];
}

export function decide(subject: Subject, entry: Entry, settings: Settings): Accepted | Refusal {
  const book = subject.get(entry.drain) ?? emptyBook(entry.drain, settings);
  const chain = chainAfter(entry, (member) => chainOf(book, member));
  if ('refused' in chain) return chain;
  const before = book.chains.get(chain.first.id);
  const remove = before === undefined ? undefined : itemOf(before);
  const add = itemOf(chain);
  const view = viewAfter(book, remove, add, settings);
  const views = [view, ...[...subject.values()].filter((other) => other !== book).map((other) => other.view)];
  const cause = isRevision(entry) ? 'corrected' : 'amended';

  const own = changeOf(book, view, views, { remove, add }, cause, settings);
  const others = [...subject.values()].flatMap((other) => {
    if (other === book) return [];
    const changed = changeOf(other, other.view, views, {}, cause, settings);
    return changed === null ? [] : [changed];
  });
  if (own === null) throw new Error('an entry always changes its own drain');
  const newest = newestAt(book.chart);
  return {
    entry,
    chain,
    row: own.after.find((row) => row.item.id === chain.first.id) ?? null,
    late: add !== undefined && newest !== null && add.at < newest && !isRevision(entry),
    changes: [own.change, ...others.map(({ change }) => change)],
  };
}

const isRevision = ({ body }: Entry): boolean =>
  body.kind === 'corrected' || body.kind === 'entered-in-error';

function viewAfter(
  book: Book,
  remove: Item | undefined,
  add: Item | undefined,
  settings: Settings,
): DrainView {
  const touches = [remove, add].some((item) => item !== undefined && isOfWholeDrain(item));
  if (!touches) return book.view;
  const items = new Map(book.ofWholeDrain);
  if (remove !== undefined) items.delete(remove.id);
  if (add !== undefined) items.set(add.id, add);
  return drainView(book.drain, [...items.values()], settings);
}

function changeOf(
  book: Book,
  view: DrainView,
  views: readonly DrainView[],
  moved: { readonly remove?: Item | undefined; readonly add?: Item | undefined },
  cause: 'amended' | 'corrected',
  settings: Settings,
): { readonly change: DrainChange; readonly after: readonly Row[] } | null {
  const circumstances =
    view === book.view && views.length === 1
      ? book.circumstances
      : circumstancesOf(view, weightsFor(view, views), settings);
  const everyFact = standsOn(book.view) !== standsOn(view);
  const since = everyFact ? epochMs(-Infinity) : changedSince(book.circumstances, circumstances);
  if (since === undefined && moved.add === undefined && moved.remove === undefined && view === book.view)
    return null;
  const folded = refold(book.chart, { ...moved, since }, circumstances);
  const issued = issues(folded.before, folded.after, book.reissues, cause, everyFact);
  return {
    change: { drain: book.drain, view, circumstances, chart: folded.chart, issued },
    after: folded.after,
  };
}

/** What every fact of a drain carries: a change of it changes all of them. */
const standsOn = ({ patient, site }: DrainView): string => JSON.stringify([patient ?? null, site]);

/** Records an accepted entry in the books. */
export function enter(subject: Subject, accepted: Accepted, settings: Settings): void {
  for (const change of accepted.changes) {
    const book = subject.get(change.drain) ?? emptyBook(change.drain, settings);
    subject.set(change.drain, book);
    book.view = change.view;
    book.circumstances = change.circumstances;
    book.chart = change.chart;
    for (const { key, version, status } of change.issued) {
      if (version > 1) book.reissues.set(key, { version, status });
    }
    if (change.drain === accepted.entry.drain) keepChain(book, accepted.chain, accepted.entry);
  }
}
