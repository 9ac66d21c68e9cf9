import type { EpochMs, Microlitres } from '../numbers/units.ts';
import type { Reference } from '../vocabulary/entry.ts';
import type { Item } from './chains.ts';
import type { Conditions } from './conditions-held.ts';
import type { Interval, IntervalReason, LevelPart } from './interval.ts';
import type { Mark } from './marks.ts';
import type { Negativity } from './negativity.ts';
import type { Rate } from './rate.ts';
import type { Window } from './windows.ts';

export type IncompleteReason = IntervalReason | 'suspect-rise' | 'baseline-only';

/** With no reason but these, a sum is a lower bound; with any other it is the sum of what could be measured. */
const BOUNDING: readonly IncompleteReason[] = ['no-closing-level', 'level-rebased'];

export type Completeness = 'total' | 'at-least' | 'measured-part';

export function completenessOf({ reasons }: Cumulative): Completeness {
  if (reasons.length === 0) return 'total';
  return reasons.every((reason) => BOUNDING.includes(reason)) ? 'at-least' : 'measured-part';
}

/** Everything drained since the first known level, µL; what kind of sum it is says {@link completenessOf}. */
export interface Cumulative {
  readonly from: EpochMs;
  readonly from_text: string;
  readonly drained: Microlitres;
  readonly sampled: Microlitres;
  readonly instilled: Microlitres;
  readonly net: Microlitres;
  /** Drained in intervals whose rise is in doubt; not in the sums. */
  readonly suspect: Microlitres;
  /** Why the sums are not a total. */
  readonly reasons: readonly IncompleteReason[];
}

/** What a level gives: the interval it ends and all that is summed up to it. */
export interface Volumes {
  readonly interval: Interval;
  readonly rate: Rate;
  /** All since the previous reading, where a unit change lies between; otherwise the interval itself. */
  readonly since_reading: Interval;
  readonly since_reading_rate: Rate;
  /** Expanded (k = 2) reading error of the drained volumes, µL; null while the graduations are not known. */
  readonly uncertainty: {
    readonly interval: Microlitres | null;
    readonly since_reading: Microlitres | null;
    readonly cumulative: Microlitres | null;
  };
  readonly cumulative: Cumulative;
  readonly windows: readonly Window[];
}

/** One statement of the chart with all that is derived at its time. */
export interface Row {
  readonly item: Item;
  readonly marks: readonly Mark[];
  /** False while a mark keeps the whole statement out of the arithmetic. */
  readonly counted: boolean;
  /** Levels that the statement charts and a mark keeps out of the arithmetic. */
  readonly leftOut: readonly LevelPart[];
  readonly encounter: Reference | null;
  /** What held when it was made; what it says itself included. */
  readonly conditions: Conditions;
  readonly volumes: Volumes | null;
  readonly negativity: Negativity | null;
}
