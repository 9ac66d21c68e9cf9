import { type ChamberState, EMPTY_CHAMBER } from './drainage.ts';
import type { Reference } from './entry.ts';
import type { History } from './history.ts';
import type { Interval } from './interval.ts';
import type { SuctionSource } from './negativity.ts';
import type { IncompleteReason } from './row.ts';
import type { SummedFlow, SummedInterval } from './sums.ts';
import type { EpochMs } from './units.ts';

/** All that the past of a drain means for its next instant. Immutable: a saved state is a pointer. */
export interface FoldState {
  readonly chamber: ChamberState;
  readonly suctionSource: SuctionSource;
  readonly encounter: Reference | null;
  readonly intervals: History<SummedInterval>;
  readonly flows: History<SummedFlow>;
  /** Start of the first interval. */
  readonly measuredFrom: { readonly ms: EpochMs; readonly text: string } | null;
  readonly incomplete: readonly IncompleteReason[];
  /** Intervals since the last reading that had a level. */
  readonly sinceReading: readonly Interval[];
  readonly lastReading: { readonly at: EpochMs; readonly level: number } | null;
}

export const EMPTY_STATE: FoldState = {
  chamber: EMPTY_CHAMBER,
  suctionSource: null,
  encounter: null,
  intervals: null,
  flows: null,
  measuredFrom: null,
  incomplete: [],
  sinceReading: [],
  lastReading: null,
};
