/** How an attempt at a delivery can end. */
import type { Outcome, Taken } from '../store/delivery-port.ts';
import type { Held, Verdict } from './classify.ts';

export type End =
  | { readonly kind: 'delivered' }
  | { readonly kind: 'accepted'; readonly outcome: Outcome }
  | Stopped
  /** The claim has lapsed: it is somebody else's by now. */
  | { readonly kind: 'lost' };

export type Stopped =
  | { readonly kind: 'refused' | 'unknown' | 'unauthorized' | 'forbidden'; readonly outcome: Outcome }
  | Held
  | Extract<Verdict, { readonly kind: 'later' }>;

export interface Attempted {
  readonly end: End;
  readonly taken: readonly Taken[];
}
