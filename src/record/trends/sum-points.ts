/** What drained in a bucket of time, of one drain or of several together: volume, rate, rate by weight. */
import { type CalendarWindow, type UncoveredReason, windowRate } from '../../domain/calendar-windows.ts';
import type { Circumstances } from '../../domain/circumstances.ts';
import { millilitres } from '../../domain/derived-facts.ts';
import type { Span } from '../../domain/interval.ts';
import type { PatientWindow } from '../../domain/patient-windows.ts';
import { approximately } from '../../domain/rational.ts';
import { coveredThousandths } from '../../domain/span.ts';
import { isLowConfidence } from '../../domain/uncertainty.ts';
import { weightFor } from '../../domain/weight.ts';
import { uncertaintyMl } from '../view.ts';
import { flagsOf, NO_POINT, type Point } from './point.ts';
import { rounded, toDecimals } from './row-points.ts';

/** The sum over a bucket, and of how many drains. */
export interface Summed {
  readonly window: Omit<CalendarWindow, 'uncovered'> | PatientWindow;
  readonly drainsInPlace: number;
  readonly uncovered: readonly UncoveredReason[];
}

export type SumPoint = (summed: Summed, circumstances: Circumstances) => Point;

/** A bucket in which no drain was in place. */
export const notInPlace = ({ from, to }: Span): Point => ({
  ...NO_POINT,
  from,
  to,
  reasons: ['not-in-place'],
});

/** Each once: several drains may share one. */
const reasonsOf = (uncovered: readonly UncoveredReason[]): readonly string[] =>
  uncovered.length === 0 ? ['not-covered'] : [...new Set(uncovered)];

export function netOfBucket({ window, uncovered }: Summed): Point {
  const { sum, in_place_ms: inPlace, covered_ms: covered } = window;
  const base = baseOf(window);
  if (sum === null) return { ...base, reasons: reasonsOf(uncovered) };
  return {
    ...base,
    value: Number(millilitres(sum.net)),
    reasons: covered < inPlace ? reasonsOf(uncovered) : [],
    low: sum.net_low / 1000,
    high: sum.net_high === null ? null : sum.net_high / 1000,
    uncertainty: uncertaintyMl(sum.uncertainty),
    at_least: covered < inPlace,
  };
}

export function rateOfBucket({ window, drainsInPlace }: Summed, { settings }: Circumstances): Point {
  const rate = windowRate(window, drainsInPlace, settings);
  if (rate.value === null) return { ...baseOf(window), reasons: [rate.reason] };
  return {
    ...baseOf(window),
    value: rounded(rate.value, 1),
    uncertainty: toDecimals(rate.uncertainty, 1),
  };
}

/** By the last weight at or before the bucket's start that is not too old. */
export function ratePerKgOfBucket({ window, drainsInPlace }: Summed, of: Circumstances): Point {
  const rate = windowRate(window, drainsInPlace, of.settings);
  const base = baseOf(window);
  if (rate.value === null) return { ...base, reasons: [rate.reason] };
  const weight = weightFor(window.from, of.population, of.weights, of.settings);
  if (typeof weight === 'string') return { ...base, reasons: [weight] };
  const { numerator, denominator } = rate.value;
  const grams = BigInt(weight.weight);
  return {
    ...base,
    value: rounded({ numerator: numerator * 1000n, denominator: denominator * grams }, 2),
    uncertainty: toDecimals(rate.uncertainty === null ? null : (rate.uncertainty * 1000) / weight.weight, 2),
  };
}

function baseOf(window: Summed['window']): Point {
  const { from, to, sum, in_place_ms: inPlace, covered_ms: covered, preliminary } = window;
  return {
    ...NO_POINT,
    from,
    to,
    coverage: inPlace === 0 ? null : coveredThousandths(covered, inPlace) / 1000,
    flags: flagsOf({
      preliminary,
      interpolated: sum?.interpolated ?? false,
      'low-confidence': sum !== null && isLowConfidence(approximately(sum.net), sum.uncertainty),
    }),
  };
}
