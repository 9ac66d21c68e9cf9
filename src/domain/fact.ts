import type { Author, Reference } from './entry.ts';

export type TrailingHours = 1 | 4 | 8 | 12 | 24;

/** What the service hands to the record. One name, one meaning, one unit (fhir/codes.ts). */
export type FactName =
  | 'reading'
  | 'level'
  | 'opening-level'
  | 'closing-level'
  | 'net-drainage'
  | 'drainage-rate'
  | 'drainage-rate-per-kg'
  | 'cumulative-drainage'
  | `net-drainage-${TrailingHours}h`
  | 'imposed-suction'
  | 'ordered-suction'
  | 'seal-level'
  | 'total-negativity'
  | 'measured-pressure'
  | 'air-leak-grade'
  | 'air-leak-phase'
  | 'air-leak-flow'
  | 'tidaling'
  | 'fluid-character'
  | 'fluid-colour'
  | 'instilled-volume'
  | 'sampled-volume'
  | 'body-weight';

export type ComponentName =
  | 'drained'
  | 'sampled'
  | 'instilled'
  | 'net-low'
  | 'net-high'
  | 'coverage'
  | 'open-time-rate'
  | 'sum-of-measured-intervals'
  | 'suspect-volume'
  | 'negativity-low'
  | 'negativity-high'
  | 'weight-used'
  | 'uncertainty'
  | 'rate-uncertainty'
  | 'rate-per-kg-uncertainty';

export type FactValue =
  /** Decimal digits in the unit of the fact's name; `at_least` where only a lower bound is known. */
  | { readonly quantity: string; readonly at_least?: true }
  | { readonly code: string }
  | { readonly text: string }
  /** No value, and why. */
  | { readonly absent: string }
  /** A grouping fact has members in place of a value. */
  | { readonly grouping: true };

export type Flag = 'suspect' | 'lower-bound' | 'interpolated' | 'left-out' | 'low-confidence';

/** Names a fact by the entry it hangs on; of the same drain, unless another is named. */
export interface FactRef {
  readonly name: FactName;
  readonly anchor: string;
  readonly drain?: string;
}

/** One thing that is charted or derived, at a moment or over a period, with what it rests on. */
export interface Fact extends FactRef {
  readonly effective: { readonly at: string } | { readonly from: string; readonly to: string };
  readonly value: FactValue;
  readonly components: readonly { readonly name: ComponentName; readonly quantity: string }[];
  readonly flags: readonly Flag[];
  readonly derived_from: readonly FactRef[];
  readonly members: readonly FactRef[];
  /** Who charted it; null for what the service worked out. */
  readonly author: Author | null;
  readonly encounter: Reference | null;
  readonly note: string | null;
}
