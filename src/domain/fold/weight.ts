/** The body weight that a drain's output is indexed by. */

import type { EpochMs, Grams } from '../numbers/units.ts';
import type { Identifier, Population } from '../vocabulary/entry.ts';
import type { Settings } from '../vocabulary/settings.ts';

/** A body weight of the patient, at the time it was taken. */
export interface Weight {
  readonly at: EpochMs;
  readonly id: string;
  readonly identifier: Identifier;
  readonly drain: string;
  readonly weight: Grams;
}

export type NoWeightReason = 'no-weight' | 'weight-too-old' | 'population-not-stated';

/** The last weight at or before the interval's start, unless it is older than the population allows. */
export function weightFor(
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
