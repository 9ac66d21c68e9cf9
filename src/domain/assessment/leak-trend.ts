/**
 * Whether an air leak rises or falls: the worst value of each UTC clock hour, over the 24 clock hours up to the newest
 * value, by the Mann-Kendall test (two-sided, 0.05; mann-kendall.ts). Direction only: grades are ordinal.
 *
 * Only like is compared with like: values of the same suction state and the same phase or manoeuvre, grades of a scale
 * with the same top too; a trace of suction or of the scale in the figures is no trend of the leak. An absence stands
 * with any phase of quiet breathing, which it was looked for in; not with a forced breath, which nobody may have asked
 * for. Length of the window, level of significance and the least number of hours: common practice, no source.
 */

import type { Span } from '../fold/interval.ts';
import { type EpochMs, epochMs, HOUR_MS } from '../numbers/units.ts';
import type { LeakPhase } from '../vocabulary/entry.ts';
import type { LeakReading } from './leak-readings.ts';
import { type MannKendall, mannKendall } from './mann-kendall.ts';

const WINDOW_HOURS = 24;
const LEAST_HOURS = 5;
const SIGNIFICANCE = 0.05;

export type LeakQuantity = 'grade' | 'flow';

export type NoTrendReason =
  | 'not-assessed'
  | 'leak-scale-not-known'
  | 'suction-state-not-charted'
  | 'fewer-than-5-hours'
  | 'not-significant'
  | 'swing-lost';

/** A clock hour that holds a value: thousandths of a grade, or of mL/min. */
export interface WorstOfHour {
  readonly from: EpochMs;
  readonly value: number;
}

/** What the values of a series have in common. */
export interface Like {
  /** Top of the grade's scale, thousandths; null in a series of flows. */
  readonly scaleMax: number | null;
  readonly suction: NonNullable<LeakReading['suction']>;
  /** Null: not charted with any of them. */
  readonly phase: LeakPhase | null;
}

export interface LeakTrend {
  readonly trend: 'falling' | 'rising' | 'constant' | 'no-trend-shown';
  /** Why no trend is shown. */
  readonly reason: NoTrendReason | null;
  /** Start of the first clock hour; null while nothing was assessed. */
  readonly from: EpochMs | null;
  /** The newest reading that has a value. */
  readonly newest: LeakReading | null;
  readonly like: Like | null;
  readonly hours: readonly WorstOfHour[];
  /** Readings of the window with a value that is not like the newest. */
  readonly unlike: number;
  /** Null with fewer than 5 hours. */
  readonly test: MannKendall | null;
}

/**
 * @param readings of an open tube, in order
 * @param lost when the swing was lost: a blocked tube shows less leak, so a fall meanwhile is not said
 */
export function leakTrend(
  quantity: LeakQuantity,
  readings: readonly LeakReading[],
  lost: readonly Span[],
): LeakTrend {
  const valued = readings.filter((reading) => reading[quantity] !== null);
  const newest = valued.at(-1);
  if (newest === undefined) return { ...NOTHING, reason: 'not-assessed' };
  const from = epochMs(hourOf(newest.at) - (WINDOW_HOURS - 1) * HOUR_MS);
  const inWindow = valued.filter(({ at }) => at >= from);
  const like = likeOf(quantity, newest, inWindow);
  if (typeof like === 'string') return { ...NOTHING, reason: like, from, newest };
  const series = inWindow.filter((reading) => isLike(quantity, reading, like));
  const hours = worstOfHours(quantity, series);
  const test = hours.length < LEAST_HOURS ? null : mannKendall(hours.map(({ value }) => value));
  const first = series[0]?.at ?? newest.at;
  const isLost = lost.some((span) => span.from < newest.at && span.to > first);
  return {
    ...verdict(hours, test, isLost),
    from,
    newest,
    like,
    hours,
    unlike: inWindow.length - series.length,
    test,
  };
}

const NOTHING: LeakTrend = {
  trend: 'no-trend-shown',
  reason: null,
  from: null,
  newest: null,
  like: null,
  hours: [],
  unlike: 0,
  test: null,
};

const hourOf = (at: EpochMs): EpochMs => epochMs(Math.floor(at / HOUR_MS) * HOUR_MS);

const QUIET: readonly (LeakPhase | null)[] = ['expiratory', 'inspiratory', 'continuous'];

function isAbsence(quantity: LeakQuantity, reading: LeakReading): boolean {
  return reading[quantity] === 0 && (reading.phase === null || reading.phase === 'none');
}

function likeOf(
  quantity: LeakQuantity,
  newest: LeakReading,
  inWindow: readonly LeakReading[],
): Like | NoTrendReason {
  const { scaleMax, suction } = newest;
  if (quantity === 'grade' && scaleMax === null) return 'leak-scale-not-known';
  if (suction === null) return 'suction-state-not-charted';
  const like = { scaleMax: quantity === 'grade' ? scaleMax : null, suction, phase: newest.phase };
  if (!isAbsence(quantity, newest)) return like;
  const leaking = inWindow.findLast(
    (reading) =>
      !isAbsence(quantity, reading) && isLike(quantity, reading, { ...like, phase: reading.phase }),
  );
  const phase = leaking !== undefined && QUIET.includes(leaking.phase) ? leaking.phase : newest.phase;
  return { ...like, phase };
}

function isLike(quantity: LeakQuantity, reading: LeakReading, like: Like): boolean {
  const { scaleMax, suction, phase } = reading;
  if (quantity === 'grade' && scaleMax !== like.scaleMax) return false;
  if (suction !== like.suction) return false;
  return phase === like.phase || (isAbsence(quantity, reading) && QUIET.includes(like.phase));
}

/** @param series in order */
function worstOfHours(quantity: LeakQuantity, series: readonly LeakReading[]): readonly WorstOfHour[] {
  const worst = new Map<EpochMs, number>();
  for (const reading of series) {
    const hour = hourOf(reading.at);
    worst.set(hour, Math.max(worst.get(hour) ?? 0, reading[quantity] ?? 0));
  }
  return [...worst].map(([from, value]) => ({ from, value }));
}

function verdict(
  hours: readonly WorstOfHour[],
  test: MannKendall | null,
  isSwingLost: boolean,
): Pick<LeakTrend, 'trend' | 'reason'> {
  if (test === null) return { trend: 'no-trend-shown', reason: 'fewer-than-5-hours' };
  if (hours.every(({ value }) => value === hours[0]?.value)) return { trend: 'constant', reason: null };
  if (test.p > SIGNIFICANCE) return { trend: 'no-trend-shown', reason: 'not-significant' };
  if (test.s > 0) return { trend: 'rising', reason: null };
  return isSwingLost ? { trend: 'no-trend-shown', reason: 'swing-lost' } : { trend: 'falling', reason: null };
}
