/** Air leak as of the newest reading that assessed it: its trends, the time without it, and the days until it was last seen. */
import { clampedSpans, type RowUnderConditions } from '../fold/conditions.ts';
import type { DrainView } from '../fold/drain.ts';
import type { Span } from '../fold/interval.ts';
import { type Instant, parseInstant } from '../numbers/instant.ts';
import type { EpochMs } from '../numbers/units.ts';
import type { Settings } from '../vocabulary/settings.ts';
import { type LeakReading, leakReadings } from './leak-readings.ts';
import { type LeakTrend, leakTrend } from './leak-trend.ts';
import { swingLostSpans } from './patency.ts';

export interface AirLeak {
  readonly newest: LeakReading | null;
  readonly grade: LeakTrend;
  readonly flow: LeakTrend;
  readonly leak_free: LeakFree;
  readonly leak_days: LeakDays;
}

type Origins = Pick<DrainView, 'site' | 'chest_closed_at' | 'placed_at'>;

export function airLeakOf(
  rows: readonly RowUnderConditions[],
  view: Origins,
  { max_gap_ms: maxGapMs }: Settings,
): AirLeak {
  const readings = leakReadings(rows);
  const lost = swingLostSpans(rows, view.site);
  return {
    newest: readings.at(-1) ?? null,
    grade: leakTrend('grade', readings, lost),
    flow: leakTrend('flow', readings, lost),
    leak_free: leakFree(readings, clampedSpans(rows), lost, maxGapMs),
    leak_days: leakDays(readings, view),
  };
}

export type NotCounted = 'clamped' | 'swing-lost';

/**
 * Time since the first assessed absence of a leak, up to the newest, ms: what no assessment shows is not claimed.
 * It starts anew after a leak, and after a gap between assessments that is longer than local policy allows.
 */
export type LeakFree =
  | {
      readonly value_ms: number;
      readonly from: LeakReading;
      readonly to: LeakReading;
      /** What came before `from`. */
      readonly starts_after: 'leak' | 'gap' | 'nothing-assessed';
      /** Time between `from` and `to` that is not in the value, and why. */
      readonly not_counted_ms: number;
      readonly not_counted: readonly NotCounted[];
    }
  | {
      readonly value_ms: null;
      readonly reason: 'not-assessed' | 'leak-at-newest-assessment' | 'swing-lost';
    };

/** @param lost in order, as are the readings and the clamped spans */
function leakFree(
  readings: readonly LeakReading[],
  clamped: readonly Span[],
  lost: readonly Span[],
  maxGapMs: number,
): LeakFree {
  const to = readings.at(-1);
  if (to === undefined) return { value_ms: null, reason: 'not-assessed' };
  const start = startOfAbsence(readings, maxGapMs);
  if (start === null) return { value_ms: null, reason: 'leak-at-newest-assessment' };
  const { from } = start;
  const length = to.at - from.at;
  const notCounted = unionWithin([...clamped, ...lost], from.at, to.at);
  const isLostFromStart = lost.some((span) => span.from < from.at && span.to > from.at);
  if (isLostFromStart && notCounted === length) return { value_ms: null, reason: 'swing-lost' };
  const reasons: readonly [NotCounted, readonly Span[]][] = [
    ['clamped', clamped],
    ['swing-lost', lost],
  ];
  return {
    value_ms: length - notCounted,
    ...start,
    to,
    not_counted_ms: notCounted,
    not_counted: reasons.flatMap(([name, spans]) => (unionWithin(spans, from.at, to.at) > 0 ? [name] : [])),
  };
}

/** The first absence since the last leak or gap; null while the newest assessment shows a leak. */
function startOfAbsence(
  readings: readonly LeakReading[],
  maxGapMs: number,
): { readonly from: LeakReading; readonly starts_after: 'leak' | 'gap' | 'nothing-assessed' } | null {
  let from: LeakReading | null = null;
  let before: LeakReading | null = null;
  let startsAfter: 'leak' | 'gap' | 'nothing-assessed' = 'nothing-assessed';
  for (const reading of readings) {
    const isAfterGap = before !== null && reading.at - before.at > maxGapMs;
    if (reading.leak) {
      from = null;
      startsAfter = 'leak';
    } else if (from === null) from = reading;
    else if (isAfterGap) {
      from = reading;
      startsAfter = 'gap';
    }
    before = reading;
  }
  return from === null ? null : { from, starts_after: startsAfter };
}

/** Milliseconds within (from, to] that lie in any of the spans, each counted once. */
function unionWithin(spans: readonly Span[], from: EpochMs, to: EpochMs): number {
  let sum = 0;
  let done: number = from;
  for (const span of [...spans].sort((a, b) => a.from - b.from)) {
    const end = Math.min(span.to, to);
    sum += Math.max(0, end - Math.max(span.from, done));
    done = Math.max(done, end);
  }
  return sum;
}

/**
 * Elapsed time from the chest closure, or where none is stated from the placement, to the last leak seen, ms.
 * From which of the two a prolonged leak is counted differs between sources, so the origin is named.
 */
export type LeakDays =
  | {
      readonly value_ms: number;
      readonly origin: 'chest_closed_at' | 'placed_at';
      /** As it was charted. */
      readonly from_text: string;
      readonly last_leak: LeakReading;
    }
  | {
      readonly value_ms: null;
      readonly reason: 'not-assessed' | 'no-leak-seen' | 'no-origin' | 'leak-before-origin';
    };

function leakDays(readings: readonly LeakReading[], { chest_closed_at, placed_at }: Origins): LeakDays {
  if (readings.length === 0) return { value_ms: null, reason: 'not-assessed' };
  const last = readings.findLast(({ leak }) => leak);
  if (last === undefined) return { value_ms: null, reason: 'no-leak-seen' };
  const from = leakOrigin({ chest_closed_at, placed_at });
  if (from === undefined) return { value_ms: null, reason: 'no-origin' };
  if (last.at < from.ms) return { value_ms: null, reason: 'leak-before-origin' };
  const origin = chest_closed_at === undefined ? 'placed_at' : 'chest_closed_at';
  return { value_ms: last.at - from.ms, origin, from_text: from.text, last_leak: last };
}

/** What leak days are counted from: the chest closure, or where none is stated the placement. */
export function leakOrigin({
  chest_closed_at,
  placed_at,
}: {
  readonly chest_closed_at?: string | undefined;
  readonly placed_at: string | null;
}): Instant | undefined {
  const text = chest_closed_at ?? placed_at;
  return text === null ? undefined : parseInstant(text);
}
