/**
 * All that was ever recorded of a drain as CSV, in the order of the log: a record an entry, and under the first entry of
 * each chain a record for each value that follows from the chain as it stands. Every record names the place and the
 * hash of its entry in the log, where its proof is asked for.
 */
import { readStreamBody } from '../../audit/entry-text.ts';
import type { Book } from '../../domain/book/book.ts';
import { itemOf } from '../../domain/fold/chains.ts';
import type { Decimal } from '../../domain/numbers/decimal.ts';
import { parseInstant } from '../../domain/numbers/instant.ts';
import type { EpochMs } from '../../domain/numbers/units.ts';
import type { Author, Identifier } from '../../domain/vocabulary/entry.ts';
import type { StreamBody } from '../../domain/vocabulary/rerouted.ts';
import type { SentEntry, Store } from '../../store/port.ts';
import { type Cell, cellText, lineText } from './cell-text.ts';
import { type DerivedValue, derivedValues } from './derived-values.ts';
import { momentOf, type Standing } from './standing.ts';

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

type Column = (typeof COLUMNS)[number];
const BEFORE_VALUE = COLUMNS.slice(0, COLUMNS.indexOf('quantity'));

/** What it reads of a store. */
export interface CsvSource extends Pick<Store, 'places' | 'entriesAt' | 'device' | 'devicesOf'> {
  /** Whether another drain may be named to whoever asks. */
  isSeen(drain: string): boolean;
}

type Cells = { readonly [column in Column]?: Cell | undefined };

export interface Period {
  /** Included; null: from the first. */
  readonly from: EpochMs | null;
  /** Excluded; null: to the last. */
  readonly to: EpochMs | null;
}

/** A few kilobytes to some hundreds of text each. */
const ENTRIES_AT_ONCE = 50;

/**
 * Text, page by page, as of the moment of the call; what is charted meanwhile is not in it.
 * @param period of the times that are charted: a chain is in it, whole, if its first form or what stands of it is
 */
export function drainCsv(source: CsvSource, book: Book, period: Period): Iterable<string> {
  const records = drainRecords(source, book, period);
  return (function* () {
    yield HEADER;
    yield* records;
  })();
}

/** The same without its header. */
export function drainRecords(source: CsvSource, book: Book, period: Period): Iterable<string> {
  const { drain } = book;
  const { places, standingOf } = momentOf(source, book, source.isSeen);
  const indexes = places.map(({ logIndex }) => logIndex);
  return (function* () {
    for (let next = 0; next < indexes.length; next += ENTRIES_AT_ONCE) {
      const entries = source.entriesAt(indexes.slice(next, next + ENTRIES_AT_ONCE));
      yield entries.map((entry) => recordsOf(drain, entry, standingOf, period)).join('');
    }
  })();
}

function recordsOf(
  drain: string,
  entry: SentEntry,
  standingOf: (entry: SentEntry, body: StreamBody) => Standing,
  period: Period,
): string {
  const body = readStreamBody(entry.body);
  const standing = standingOf(entry, body);
  if (!isWithin(timesOf(body, standing), period)) return '';
  const place = { drain, log_index: entry.logIndex, hash: entry.hash, entry: entry.entryId };
  const own = lineText(cellsOf(COLUMNS, { ...place, ...entryCells(entry, body, standing) }));
  const row = standing.row;
  if (row === undefined) return own;
  // A reading has some forty of these: what they share is written once, and the rest without an object for each.
  const effective_at = row.item.content.effective_at;
  const opening = cellsOf(BEFORE_VALUE, { ...place, record: 'derived', effective_at })
    .map(cellText)
    .join(',');
  const lines = derivedValues(row).map((value) => `${opening},${lineText(valueCells(value))}`);
  return own + lines.join('');
}

const cellsOf = (columns: readonly Column[], cells: Cells): Cell[] =>
  columns.map((column) => cells[column] ?? null);

function timesOf(body: StreamBody, { chain }: Standing): readonly (EpochMs | undefined)[] {
  if (chain === undefined) return [parseInstant(body.effective_at)?.ms];
  return [chain.first.effective.ms, itemOf(chain)?.at];
}

const isWithin = (times: readonly (EpochMs | undefined)[], { from, to }: Period): boolean =>
  times.some((time) => time !== undefined && (from === null || time >= from) && (to === null || time < to));

function entryCells(entry: SentEntry, body: StreamBody, standing: Standing): Cells {
  const said = body.kind === 'corrected' ? body.replacement : body;
  const { target, reason = null } = { target: undefined, reason: undefined, ...body };
  return {
    record: 'entry',
    status: standing.status,
    changed_by: standing.changedBy,
    counts_for: standing.countsFor,
    kind: body.kind,
    effective_at: said.effective_at,
    recorded_at: entry.recordedAt,
    author: authorText(body.author),
    client: entry.client,
    identifier_system: body.identifier.system,
    identifier_value: body.identifier.value,
    target_value: (target as Identifier | undefined)?.value,
    reason,
    ...amountIn(said),
    remarks: standing.row?.marks.join(' '),
    note: 'note' in said ? said.note : null,
    body: entry.body,
  };
}

const authorText = ({ reference, identifier }: Author): string =>
  reference ?? (identifier === undefined ? '' : `${identifier.system}|${identifier.value}`);

/** The one amount that most kinds are about, with the digits it was charted with; `body` holds all of it. */
function amountIn(said: object): Cells {
  const { level_ml, volume_ml, weight_kg } = said as Readonly<Record<string, Decimal | undefined>>;
  if (level_ml !== undefined) return { quantity: 'level', value: level_ml, unit: 'mL' };
  if (volume_ml !== undefined) return { quantity: 'volume', value: volume_ml, unit: 'mL' };
  return weight_kg === undefined ? {} : { quantity: 'weight', value: weight_kg, unit: 'kg' };
}

/** From `quantity` to the last column. */
const valueCells = (derived: DerivedValue): readonly Cell[] => [
  derived.quantity,
  derived.value,
  derived.unit,
  derived.uncertainty ?? null,
  derived.low ?? null,
  derived.high ?? null,
  derived.atLeast ?? null,
  derived.coverage ?? null,
  derived.from ?? null,
  derived.to ?? null,
  derived.reasons.join(' '),
  derived.remarks?.join(' ') ?? null,
  ...NOTE_AND_BODY,
];

const NOTE_AND_BODY = [null, null] as const;
