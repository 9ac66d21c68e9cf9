/**
 * All that was ever recorded of a drain as CSV, in the order of the log: a record an entry, and under the first entry of
 * each chain a record for each value that follows from the chain as it stands. Every record names the place and the
 * hash of its entry in the log, where its proof is asked for.
 */
import type { Book } from '../../domain/book/book.ts';
import { itemOf } from '../../domain/fold/chains.ts';
import type { Row } from '../../domain/fold/row.ts';
import { parseInstant } from '../../domain/numbers/instant.ts';
import type { EpochMs } from '../../domain/numbers/units.ts';
import type { StreamBody } from '../../domain/vocabulary/rerouted.ts';
import type { SentEntry, Store } from '../../store/port.ts';
import { lineText } from './cell-text.ts';
import { derivedLines } from './derived-lines.ts';
import { entryLine } from './entry-line.ts';
import { type DrainMoment, momentOf, type Standing } from './standing.ts';

/** Headings, in their order. */
export const COLUMNS = [
  'record',
  'drain',
  'log_index',
  'hash',
  'entry',
  'status',
  'changed_by',
  'counts_for',
  'kind',
  'effective_at',
  'recorded_at',
  'author',
  'client',
  'identifier_system',
  'identifier_value',
  'target_value',
  'reason',
  'quantity',
  'value',
  'unit',
  'uncertainty_k2',
  'low',
  'high',
  'at_least',
  'coverage',
  'from',
  'to',
  'absent_reason',
  'remarks',
  'note',
  'body',
] as const;

export const HEADER = lineText(COLUMNS);

/** What it reads of a store. */
export interface CsvSource extends Pick<Store, 'places' | 'entriesAt' | 'device' | 'devicesOf'> {
  /** Whether another drain may be named to whoever asks. */
  isSeen(drain: string): boolean;
  /** Whether whoever asks may be told the words of an entry, beside what it came to. */
  isTold(entry: Pick<SentEntry, 'logIndex'>): boolean;
}

export interface Period {
  /** Included; null: from the first. */
  readonly from: EpochMs | null;
  /** Excluded; null: to the last. */
  readonly to: EpochMs | null;
}

const ENTRIES_AT_ONCE = 50;
/** Long enough that handing one on costs little, short enough that the processor's cache still holds it when it is written. */
const PAGE_CHARACTERS = 16 * 1024;

/**
 * Text, page by page, as of the moment of the call; what is charted meanwhile is not in it.
 * @param period of the times that are charted: a chain is in it, whole, if its first form or what stands of it is
 */
export const drainCsv = (source: CsvSource, book: Book, period: Period): Iterable<string> =>
  withHeader(drainRecords(source, book, period));

function* withHeader(records: Iterable<string>): Iterable<string> {
  yield HEADER;
  yield* records;
}

/** The same without its header. */
export const drainRecords = (source: CsvSource, book: Book, period: Period): Iterable<string> =>
  pagesOf(source, book.drain, momentOf(source, book, source.isSeen), period);

/** No function within another: each of those has a hidden class, which would keep its book until the next full collection. */
function* pagesOf(source: CsvSource, drain: string, moment: DrainMoment, period: Period): Iterable<string> {
  const indexes = moment.places.map(({ logIndex }) => logIndex);
  let page = '';
  for (let next = 0; next < indexes.length; next += ENTRIES_AT_ONCE) {
    for (const entry of source.entriesAt(indexes.slice(next, next + ENTRIES_AT_ONCE))) {
      page += recordsOf(drain, entry, { moment, isTold: source.isTold(entry) }, period);
      if (page.length < PAGE_CHARACTERS) continue;
      yield page;
      page = '';
    }
  }
  if (page !== '') yield page;
}

interface Told {
  readonly moment: DrainMoment;
  readonly isTold: boolean;
}

function recordsOf(drain: string, entry: SentEntry, { moment, isTold }: Told, period: Period): string {
  const body = moment.bodyOf(entry);
  const standing = moment.standingOf(entry, body);
  if (!isWithin(period, body, standing)) return '';
  const own = entryLine(drain, entry, body, standing, isTold);
  const { row } = standing;
  return row === undefined ? own : own + derivedLines(openingOf(drain, entry, row), row);
}

/**
 * Of what is derived, the cells before `quantity`, each with its comma: none of these needs a quote. Joined and not
 * added up: what is added up is copied piece by piece into each of the lines that begin with it.
 */
const openingOf = (drain: string, { logIndex, hash, entryId }: SentEntry, { item }: Row): string =>
  ['derived', drain, logIndex, hash, entryId, ',,,', item.content.effective_at, ',,,,,,', ''].join(',');

/** A chain by its first form and by what stands of it, whichever of its entries is asked about. */
function isWithin(period: Period, body: StreamBody, { chain }: Standing): boolean {
  const { from, to } = period;
  if (from === null && to === null) return true;
  const times =
    chain === undefined
      ? [parseInstant(body.effective_at)?.ms]
      : [chain.first.effective.ms, itemOf(chain)?.at];
  return times.some(
    (time) => time !== undefined && (from === null || time >= from) && (to === null || time < to),
  );
}
