/** What drained in a bucket of time, of one drain or of several together: volume, rate, rate by weight. */
import {
  type CalendarWindow,
  type UncoveredReason,
  windowRate,
} from '../../domain/calendar/calendar-windows.ts';
import type { PatientWindow } from '../../domain/calendar/patient-windows.ts';
import type { Circumstances } from '../../domain/fold/circumstances.ts';
import type { Span } from '../../domain/fold/interval.ts';
import { perKilogram } from '../../domain/fold/rate.ts';
import { coveredThousandths } from '../../domain/fold/span.ts';
import { isLowConfidence } from '../../domain/fold/uncertainty.ts';
import { weightFor } from '../../domain/fold/weight.ts';
import { approximately } from '../../domain/numbers/rational.ts';
import { mlOf, rounded, toDecimals, uncertaintyMl } from '../figures.ts';
import type { Flag, Point } from './point.ts';

/** The sum over a bucket, and of how many drains. */
export interface Summed {
  readonly window: Omit<CalendarWindow, 'uncovered'> | PatientWindow;
  readonly drainsInPlace: number;
  readonly uncovered: readonly UncoveredReason[];
}

export type SumPoint = (summed: Summed, circumstances: Circumstances) => Point;

/** A bucket in which no drain was in place. */
export const notInPlace = ({ from, to }: Span): Point =>
  pointOf({ from, to, sum: null, in_place_ms: 0, covered_ms: 0, preliminary: false }, null, null, [
    'not-in-place',
  ]);

/** Each once: several drains may share one. */
const reasonsOf = (uncovered: readonly UncoveredReason[]): readonly string[] =>
  uncovered.length === 0 ? ['not-covered'] : [...new Set(uncovered)];

export function netOfBucket({ window, uncovered }: Summed): Point {
  const { sum, in_place_ms: inPlace, covered_ms: covered } = window;
  if (sum === null) return pointOf(window, null, null, reasonsOf(uncovered));
  const isLeast = covered < inPlace;
  const value = mlOf(sum.net);
  const point = pointOf(window, value, uncertaintyMl(sum.uncertainty), isLeast ? reasonsOf(uncovered) : []);
  point.low = sum.net_low / 1000;
  point.high = sum.net_high === null ? null : sum.net_high / 1000;
  point.at_least = isLeast;
  return point;
}

export function rateOfBucket({ window, drainsInPlace }: Summed, { settings }: Circumstances): Point {
  const rate = windowRate(window, drainsInPlace, settings);
  if (rate.value === null) return pointOf(window, null, null, [rate.reason]);
  return pointOf(window, rounded(rate.value, 1), toDecimals(rate.uncertainty, 1), []);
}

/** By the last weight at or before the bucket's start that is not too old. */
export function ratePerKgOfBucket({ window, drainsInPlace }: Summed, of: Circumstances): Point {
  const rate = windowRate(window, drainsInPlace, of.settings);
  if (rate.value === null) return pointOf(window, null, null, [rate.reason]);
  const weight = weightFor(window.from, of.population, of.weights, of.settings);
  if (typeof weight === 'string') return pointOf(window, null, null, [weight]);
  const perKg = perKilogram(rate.value, rate.uncertainty, weight);
  return pointOf(window, rounded(perKg.value, 2), toDecimals(perKg.uncertainty, 2), []);
}

type Draft = { -readonly [field in keyof Point]: Point[field] };

/** Field by field: spreading costs more than working the sums out, and there is one a bucket. */
function pointOf(
  window: Pick<Summed['window'], 'from' | 'to' | 'sum' | 'in_place_ms' | 'covered_ms' | 'preliminary'>,
  value: number | null,
  uncertainty: number | null,
  reasons: readonly string[],
): Draft {
  const { from, to, in_place_ms: inPlace, covered_ms: covered } = window;
  return {
    from,
    to,
    value,
    reasons,
    low: null,
    high: null,
    uncertainty,
    coverage: inPlace === 0 ? null : coveredThousandths(covered, inPlace) / 1000,
    at_least: false,
    flags: flagsIn(window),
    readings: null,
    scale_max: null,
  };
}

function flagsIn({ sum, preliminary }: Pick<Summed['window'], 'sum' | 'preliminary'>): readonly Flag[] {
  const flags: Flag[] = [];
  if (preliminary) flags.push('preliminary');
  if (sum?.interpolated === true) flags.push('interpolated');
  if (sum !== null && isLowConfidence(approximately(sum.net), sum.uncertainty)) flags.push('low-confidence');
  return flags;
}
