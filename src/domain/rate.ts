import type { Identifier, Population } from './entry.ts';
import { clampedMs, type Interval, lengthMs, netOf } from './interval.ts';
import type { Rational } from './rational.ts';
import type { Settings } from './settings.ts';
import type { EpochMs, Grams, Microlitres } from './units.ts';

/** A body weight of the patient, at the time it was taken. */
export interface Weight {
  readonly at: EpochMs;
  readonly id: string;
  readonly identifier: Identifier;
  readonly drain: string;
  readonly weight: Grams;
}

export type NoRateReason = 'interval-not-measured' | 'interval-too-short';
export type NoOpenRateReason = 'clamped-throughout';
export type NoWeightReason = 'no-weight' | 'weight-too-old' | 'population-not-stated';

export type Rate =
  | { readonly value: null; readonly reason: NoRateReason }
  | {
      /** Net over wall-clock time, mL/h. Rules use this one. */
      readonly value: Rational;
      /** Net over the time the tube was not clamped, mL/h. */
      readonly open:
        | { readonly value: Rational }
        | { readonly value: null; readonly reason: NoOpenRateReason };
      /** Wall-clock rate per kilogram, mL/kg/h. */
      readonly per_kg:
        | { readonly value: Rational; readonly weight: Weight }
        | { readonly value: null; readonly reason: NoWeightReason };
    };

/** Net drainage of an interval per hour. `weights` in order of time. */
export function rateOf(
  interval: Interval,
  population: Population | undefined,
  weights: readonly Weight[],
  settings: Settings,
): Rate {
  const net = netOf(interval);
  if (net === null || interval.status !== 'measured') return { value: null, reason: 'interval-not-measured' };
  const elapsed = lengthMs(interval);
  if (elapsed < settings.min_rate_interval_ms) return { value: null, reason: 'interval-too-short' };
  const open = elapsed - clampedMs(interval, interval.from.at, interval.to.at);
  return {
    value: perHour(net, elapsed),
    open: open > 0 ? { value: perHour(net, open) } : { value: null, reason: 'clamped-throughout' },
    per_kg: perKilogram(net, elapsed, weightFor(interval.from.at, population, weights, settings)),
  };
}

/** µL over ms as mL/h: (µL / 1000) / (ms / 3,600,000). */
function perHour(volume: Microlitres, elapsedMs: number): Rational {
  return { numerator: BigInt(volume) * 3600n, denominator: BigInt(elapsedMs) };
}

function perKilogram(net: Microlitres, elapsedMs: number, weight: Weight | NoWeightReason) {
  if (typeof weight === 'string') return { value: null, reason: weight };
  const { numerator, denominator } = perHour(net, elapsedMs);
  return {
    value: { numerator: numerator * 1000n, denominator: denominator * BigInt(weight.weight) },
    weight,
  };
}

/** The last weight at or before the interval's start, unless it is older than the population allows. */
function weightFor(
  start: EpochMs,
  population: Population | undefined,
  weights: readonly Weight[],
  settings: Settings,
): Weight | NoWeightReason {
  if (population === undefined) return 'population-not-stated';
  const last = weights.findLast((weight) => weight.at <= start);
  if (last === undefined) return 'no-weight';
  return start - last.at > settings.max_weight_age_ms[population] ? 'weight-too-old' : last;
}
