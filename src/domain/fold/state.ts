import type { History } from '../numbers/history.ts';
import type { EpochMs } from '../numbers/units.ts';
import type { FluidCharacter, Reference } from '../vocabulary/entry.ts';
import type { Item } from './chains.ts';
import { AT_FIRST, type Conditions } from './conditions-held.ts';
import { type ChamberState, EMPTY_CHAMBER } from './drainage.ts';
import type { Interval } from './interval.ts';
import type { IncompleteReason } from './row.ts';
import type { SummedFlow, SummedInterval } from './sums.ts';

/** All that the past of a drain means for its next instant. Immutable: a saved state is a pointer. */
export interface FoldState {
  readonly chamber: ChamberState;
  readonly conditions: Conditions;
  readonly encounter: Reference | null;
  readonly intervals: History<SummedInterval>;
  readonly flows: History<SummedFlow>;
  /** Each character of the fluid that was charted. */
  readonly fluids: History<{ readonly at: EpochMs; readonly character: FluidCharacter }>;
  /** Reviews of advisories. */
  readonly reviews: History<Item>;
  /** Start of the first interval. */
  readonly measuredFrom: { readonly ms: EpochMs; readonly text: string } | null;
  readonly incomplete: readonly IncompleteReason[];
  /** Intervals since the last reading that had a level. */
  readonly sinceReading: readonly Interval[];
  readonly lastReading: { readonly at: EpochMs; readonly level: number } | null;
}

export const EMPTY_STATE: FoldState = {
  chamber: EMPTY_CHAMBER,
  conditions: AT_FIRST,
  encounter: null,
  intervals: null,
  flows: null,
  fluids: null,
  reviews: null,
  measuredFrom: null,
  incomplete: [],
  sinceReading: [],
  lastReading: null,
};
