import type { Rational } from '../numbers/rational.ts';
import type { Microlitres } from '../numbers/units.ts';
import type { Circumstances } from './circumstances.ts';
import { clampedMs, type Interval, lengthMs, netOf } from './interval.ts';
import { type NoWeightReason, type Weight, weightFor } from './weight.ts';

export type NoRateReason = 'interval-not-measured' | 'interval-too-short';
export type NoOpenRateReason = 'clamped-throughout' | 'open-time-too-short';

export type Rate = { readonly value: null; readonly reason: NoRateReason } | Rated;

interface Rated {
  /** Net over wall-clock time, mL/h. Rules use this one. */
  readonly value: Rational;
  /** Expanded (k = 2) reading error of `value`, mL/h; null while the graduations are not known. */
  readonly uncertainty: number | null;
  /** Net over the time the tube was not clamped, mL/h. */
  readonly open: { readonly value: Rational } | { readonly value: null; readonly reason: NoOpenRateReason };
  /** Wall-clock rate per kilogram, mL/kg/h. */
  readonly per_kg:
    | { readonly value: Rational; readonly uncertainty: number | null; readonly weight: Weight }
    | { readonly value: null; readonly reason: NoWeightReason };
}

/**
 * Net drainage of an interval per hour. `weights` in order of time.
 * @param uncertainty of the interval's volume, µL
 */
export function rateOf(
  interval: Interval,
  uncertainty: Microlitres | null,
  { population, weights, settings }: Pick<Circumstances, 'population' | 'weights' | 'settings'>,
): Rate {
  const net = netOf(interval);
  if (net === null || interval.status !== 'measured') return { value: null, reason: 'interval-not-measured' };
  const elapsed = lengthMs(interval);
  if (elapsed < settings.min_rate_interval_ms) return { value: null, reason: 'interval-too-short' };
  const open = elapsed - clampedMs(interval, interval.from.at, interval.to.at);
  const perHourError = uncertainty === null ? null : (uncertainty * 3600) / elapsed;
  const weight = weightFor(interval.from.at, population, weights, settings);
  return {
    value: perHour(net, elapsed),
    uncertainty: perHourError,
    open: openRate(net, open, settings.min_rate_interval_ms),
    per_kg:
      typeof weight === 'string'
        ? { value: null, reason: weight }
        : { ...perKilogram(perHour(net, elapsed), perHourError, weight), weight },
  };
}

/** Of less open time than an interval needs for a rate there is none either: a minute would make a flood of it. */
function openRate(net: Microlitres, openMs: number, shortestMs: number): Rated['open'] {
  if (openMs === 0) return { value: null, reason: 'clamped-throughout' };
  return openMs < shortestMs
    ? { value: null, reason: 'open-time-too-short' }
    : { value: perHour(net, openMs) };
}

/** µL over ms as mL/h: (µL / 1000) / (ms / 3,600,000). */
function perHour(volume: Microlitres, elapsedMs: number): Rational {
  return { numerator: BigInt(volume) * 3600n, denominator: BigInt(elapsedMs) };
}

/** A rate in mL/h and its error as mL/kg/h. */
export function perKilogram(
  { numerator, denominator }: Rational,
  perHourError: number | null,
  { weight }: Weight,
): { readonly value: Rational; readonly uncertainty: number | null } {
  return {
    value: { numerator: numerator * 1000n, denominator: denominator * BigInt(weight) },
    uncertainty: perHourError === null ? null : (perHourError * 1000) / weight,
  };
}
