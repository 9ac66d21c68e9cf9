/** Trends of a drain, and of all drains of a patient: series of points over a time, cut into buckets or as charted. */
import type { Book } from '../../domain/book/book.ts';
import { type DrainSums, sumsOf } from '../../domain/book/drain-sums.ts';
import { calendarWindow } from '../../domain/calendar/calendar-windows.ts';
import { type DrainOfPatient, patientWindow } from '../../domain/calendar/patient-windows.ts';
import { rowsFrom } from '../../domain/fold/chart.ts';
import type { Circumstances } from '../../domain/fold/circumstances.ts';
import type { Span } from '../../domain/fold/interval.ts';
import type { Row } from '../../domain/fold/row.ts';
import { type EpochMs, epochMs, HOUR_MS, MINUTE_MS } from '../../domain/numbers/units.ts';
import type { Calendar } from '../../domain/vocabulary/configuration.ts';
import type { Settings } from '../../domain/vocabulary/settings.ts';
import { windowsOver } from '../calendar.ts';
import { ofPatient, placeOf } from '../calendar-view.ts';
import { gathered } from './bucket-points.ts';
import { type Bucket, type Point, type SeriesName, SUMMED, type SummedName } from './point.ts';
import { rowPoints } from './row-points.ts';
import {
  netOfBucket,
  notInPlace,
  rateOfBucket,
  ratePerKgOfBucket,
  type Summed,
  type SumPoint,
} from './sum-points.ts';

/** What is asked for; null stands for the default. */
export interface AskedTrends {
  readonly series: readonly SeriesName[];
  readonly bucket: Bucket;
  readonly from: EpochMs | null;
  readonly to: EpochMs | null;
  readonly last_h: number;
}

export type SeriesPoints = Readonly<Partial<Record<SeriesName, readonly Point[]>>>;

export interface Trends {
  /** The newest statement. */
  readonly as_of: EpochMs | null;
  /** Null while nothing is charted and no end was asked for. */
  readonly over: Span | null;
  readonly series: SeriesPoints;
}

/** More points than one answer may hold. */
export interface TooManyPoints {
  readonly tooMany: true;
}

/** Of each series: 14 days by quarters of an hour, or so many rows. */
export const MOST_BUCKETS = 1400;
export const MOST_ROWS = 5000;

/** A drain as its trends are made of it. */
export interface TrendSource {
  readonly sums: DrainSums;
  /** Sums of several weeks, where they are kept: asked only for what begins before the others. */
  weeks(): DrainSums | null;
  /** Its whole chart, which is costly where it is not in memory: asked only for what sums do not tell. */
  book(): Book;
}

export const sourceOf = (book: Book): TrendSource => ({
  sums: sumsOf(book),
  weeks: () => null,
  book: () => book,
});

export function trendsOf(
  source: TrendSource,
  calendar: Calendar,
  asked: AskedTrends,
): Trends | TooManyPoints {
  const { sums } = source;
  const as_of = sums.newest;
  const over = spanAsked(asked, as_of);
  if (over === null) return { as_of, over, series: {} };
  const cut = bucketsOver(calendar, asked.bucket, over);
  if (cut !== null && cut.length > MOST_BUCKETS) return { tooMany: true };
  const isCharted = (name: SeriesName) => cut === null || sumPointOf(name) === undefined;
  // Sums need no rows: they are subtractions of what the chart has summed already.
  const rows = asked.series.some(isCharted) ? rowsWithin(source.book(), cut, over) : [];
  if (cut === null && rows.length > MOST_ROWS) return { tooMany: true };
  const summed = cut === null || asked.series.every(isCharted) ? [] : sumsOver(reaching(source, cut), cut);
  const series: Partial<Record<SeriesName, readonly Point[]>> = {};
  for (const name of asked.series) {
    const sumPoint = sumPointOf(name);
    if (cut === null) series[name] = rowPoints(rows, name);
    else if (sumPoint === undefined) series[name] = gathered(rowPoints(rows, name), cut, name);
    else series[name] = pointsOf(summed, cut, sumPoint, sums.circumstances);
  }
  return { as_of, over, series };
}

/** The least that is kept of those that reach back to the first bucket; of the whole chart where it begins before all. */
function reaching({ sums, weeks, book }: TrendSource, [first]: readonly Span[]): DrainSums {
  const reaches = ({ since }: DrainSums) => first === undefined || first.from >= since;
  if (reaches(sums)) return sums;
  const kept = weeks();
  return kept !== null && reaches(kept) ? kept : sumsOf(book());
}

/** Each bucket is summed once, whichever series are told of it; null where the drain was not in place. */
const sumsOver = (
  { state, view, circumstances }: DrainSums,
  cut: readonly Span[],
): readonly (Summed | null)[] =>
  cut.map((span) => {
    const window = calendarWindow(state, view, span, circumstances.settings);
    return window === null ? null : { window, drainsInPlace: 1, uncovered: window.uncovered };
  });

const pointsOf = (
  summed: readonly (Summed | null)[],
  cut: readonly Span[],
  sumPoint: SumPoint,
  circumstances: Circumstances,
): readonly Point[] =>
  cut.map((span, n) => {
    const sum = summed[n] ?? null;
    return sum === null ? notInPlace(span) : sumPoint(sum, circumstances);
  });

/** After the start of the time or of its first bucket, up to the end. */
function rowsWithin({ chart }: Book, cut: readonly Span[] | null, over: Span): readonly Row[] {
  const [from, to] = [cut?.[0]?.from ?? over.from, cut?.at(-1)?.to ?? over.to];
  return rowsFrom(chart, epochMs(from + 1)).filter(({ item }) => item.at <= to);
}

export interface PatientTrends {
  readonly as_of: EpochMs | null;
  readonly over: Span | null;
  /** Over all drains together. */
  readonly together: SeriesPoints;
  readonly drains: readonly { readonly sums: DrainSums; readonly series: SeriesPoints }[];
}

/**
 * Sums over all drains of the patient of a drain, and each of its drains beside them.
 * @param all at least these
 */
export function patientTrendsOf(
  all: readonly TrendSource[],
  own: DrainSums,
  calendar: Calendar,
  asked: AskedTrends,
): PatientTrends | TooManyPoints {
  const sources = ofPatient(all, own);
  const newest = Math.max(...sources.map(({ sums }) => sums.newest ?? -Infinity));
  const as_of = newest === -Infinity ? null : epochMs(newest);
  const over = spanAsked(asked, as_of);
  if (over === null) return { as_of, over, together: {}, drains: [] };
  const cut = bucketsOver(calendar, asked.bucket, over);
  if (cut !== null && cut.length > MOST_BUCKETS) return { tooMany: true };
  const parts = sources.map((source) => ({
    sums: source.sums,
    found: trendsOf(source, calendar, { ...asked, from: over.from, to: over.to }),
  }));
  const whole = parts.flatMap(({ sums, found }) =>
    'tooMany' in found ? [] : [{ sums, series: found.series }],
  );
  if (whole.length < parts.length) return { tooMany: true };
  return { as_of, over, together: sumsTogether(sources, own, cut, asked), drains: whole };
}

const SUM_OF = {
  net: netOfBucket,
  rate: rateOfBucket,
  rate_per_kg: ratePerKgOfBucket,
} as const satisfies Partial<Record<SeriesName, SumPoint>>;

const sumPointOf = (name: SeriesName): SumPoint | undefined =>
  name in SUM_OF ? SUM_OF[name as keyof typeof SUM_OF] : undefined;

/** Over all drains together, of what has a sum. */
function sumsTogether(
  sources: readonly TrendSource[],
  { circumstances }: DrainSums,
  cut: readonly Span[] | null,
  { series }: AskedTrends,
): SeriesPoints {
  if (cut === null) return {};
  const over = (spans: readonly Span[]) => {
    const drains = sources.map((source) => placeOf(reaching(source, spans)));
    return spans.map((span) => patientSum(drains, span, circumstances.settings));
  };
  const asked = SUMMED.filter((name) => series.includes(name));
  const inBuckets = asked.some((name) => name !== 'cumulative') ? over(cut) : [];
  return Object.fromEntries(
    asked.map((name): [SummedName, readonly Point[]] => {
      if (name !== 'cumulative') return [name, pointsOf(inBuckets, cut, SUM_OF[name], circumstances)];
      const points = pointsOf(over(sincePlaced(sources, cut)), cut, netOfBucket, circumstances);
      return [name, points.map((point, n) => ({ ...point, from: cut[n]?.from ?? point.from }))];
    }),
  );
}

/** Since the first of the drains was placed, up to the end of each bucket. */
function sincePlaced(sources: readonly TrendSource[], cut: readonly Span[]): readonly Span[] {
  const placed = Math.min(...sources.map(({ sums }) => sums.view.placedMs ?? Infinity));
  return cut.map(({ to }) => ({ from: epochMs(Math.min(placed, to)), to }));
}

function patientSum(drains: readonly DrainOfPatient[], span: Span, settings: Settings): Summed | null {
  const window = patientWindow(drains, span, settings);
  if (window.drains.length === 0) return null;
  const uncovered = window.incomplete.flatMap(({ reasons }) => reasons);
  return { window, drainsInPlace: window.drains.length, uncovered };
}

function spanAsked({ from, to, last_h }: AskedTrends, as_of: EpochMs | null): Span | null {
  const end = to ?? as_of;
  if (end === null) return null;
  return { from: from ?? epochMs(end - last_h * HOUR_MS), to: end };
}

const QUARTER_MS = 15 * MINUTE_MS;

/** Null for rows as charted. Quarters of an hour are those of UTC, which any zone now in use shares. */
function bucketsOver(calendar: Calendar, bucket: Bucket, over: Span): readonly Span[] | null {
  if (bucket === 'raw') return null;
  if (bucket !== '15min') return windowsOver(calendar, bucket, over, MOST_BUCKETS + 1);
  const spans: Span[] = [];
  for (let at = Math.floor(over.from / QUARTER_MS) * QUARTER_MS; at < over.to; at += QUARTER_MS) {
    if (spans.length > MOST_BUCKETS) break;
    spans.push({ from: epochMs(at), to: epochMs(at + QUARTER_MS) });
  }
  return spans;
}
