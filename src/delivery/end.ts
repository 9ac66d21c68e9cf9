/** How an attempt at a delivery can end. */
import type { Outcome, Taken } from '../store/delivery-port.ts';
import type { Held, Verdict } from './classify.ts';

export type End =
  | { readonly kind: 'delivered' }
  | { readonly kind: 'accepted'; readonly outcome: Outcome }
  | Stopped
  | Awaited
  /** Forbidden, as far as is known to its drain alone. */
  | { readonly kind: 'barred'; readonly outcome: Outcome }
  /** Not to go in one Bundle with others, or refused with them. */
  | { readonly kind: 'apart'; readonly outcome: Outcome }
  /** The claim has lapsed: it is somebody else's by now. */
  | { readonly kind: 'lost' };

/** Accepted before, and not there yet, or nobody may look for it. */
export interface Awaited {
  readonly kind: 'awaited' | 'unseen';
  readonly outcome: Outcome;
  readonly acceptedMs: number;
}

export type Stopped =
  | { readonly kind: 'refused' | 'unknown' | 'unauthorized' | 'forbidden'; readonly outcome: Outcome }
  | Held
  | Extract<Verdict, { readonly kind: 'later' }>;

export interface Attempted {
  readonly end: End;
  readonly taken: readonly Taken[];
}
