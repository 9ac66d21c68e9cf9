import type { EpochMs, Microlitres } from '../numbers/units.ts';

/** Which statement of an entry a level comes from. */
export type LevelPart = 'level' | 'opening' | 'closing';

/** A level that counts in the arithmetic, and the entry that charted it. */
export interface LevelPoint {
  readonly id: string;
  readonly part: LevelPart;
  readonly at: EpochMs;
  readonly at_text: string;
  readonly level: Microlitres;
  /** Distance between marks there, µL; null while no unit is known. */
  readonly graduation: Microlitres | null;
}

/** Why an interval has no exact volume. */
export type IntervalReason = 'unexplained-fall' | 'no-closing-level' | 'opening-not-stated' | 'level-rebased';

export interface Span {
  readonly from: EpochMs;
  readonly to: EpochMs;
}

/**
 * The time between two levels and what drained in it.
 * `measured`: drained is exact but for reading error. `at-least`: drained is a lower bound. `indeterminate`: unknown.
 */
export interface Interval {
  readonly from: LevelPoint;
  readonly to: LevelPoint;
  readonly status: 'measured' | 'at-least' | 'indeterminate';
  readonly reason: IntervalReason | null;
  /** The maximum that this interval set was contradicted by a later fall that nothing explains. */
  readonly suspect: boolean;
  /** The level that `drained` is the rise from: `from`, or where the scale changed the opening level; null when indeterminate. */
  readonly risesFrom: LevelPoint | null;
  /** µL; null when indeterminate. */
  readonly drained: Microlitres | null;
  readonly sampled: Microlitres;
  readonly instilled: Microlitres;
  /** When the tube was clamped, in order, inside the interval. */
  readonly clamped: readonly Span[];
}

/** Drained + sampled − instilled, µL; negative after a flush that has not come back; null when indeterminate. */
export function netOf(interval: Interval): Microlitres | null {
  if (interval.drained === null) return null;
  return (interval.drained + interval.sampled - interval.instilled) as Microlitres;
}

export function lengthMs(span: {
  readonly from: { readonly at: EpochMs };
  readonly to: { readonly at: EpochMs };
}): number {
  return span.to.at - span.from.at;
}

/** Clamped milliseconds of the interval within (from, to]. */
export function clampedMs(interval: Interval, from: EpochMs, to: EpochMs): number {
  let sum = 0;
  for (const span of interval.clamped) sum += Math.max(0, Math.min(span.to, to) - Math.max(span.from, from));
  return sum;
}

/** Only an indeterminate interval is without a volume. */
export interface MeasuredInterval extends Interval {
  readonly risesFrom: LevelPoint;
  readonly drained: Microlitres;
}

/** Whether the interval's volume may stand in a sum as measured. */
export function isMeasured(interval: Interval): interval is MeasuredInterval {
  return interval.status === 'measured' && !interval.suspect;
}
