/**
 * A row of the rule table: one published or local threshold, with all that its source says of when it holds.
 * A row is configuration. What it finds is shown for review; local policy and the clinician decide.
 */
import type { Decimal } from '../numbers/decimal.ts';
import type { FluidCharacter, Indication, Population, Site } from './entry.ts';

/** Where the figure of a row comes from. A row from memory is off until a clinician has signed it off. */
export type Evidence =
  | 'abstract or text seen'
  | 'secondary text'
  | 'from memory'
  | 'common practice, no source'
  | 'local';

/** What hours are counted from. `injury` and the others are stated with the drain; `placement` is its first entry. */
export type ClockOrigin = 'chest-closure' | 'unit-arrival' | 'injury' | 'placement' | 'none';

/** The stretch in which a row holds, elapsed hours from its origin: more than `from_h`, up to and with `to_h`. */
export interface Clock {
  readonly origin: ClockOrigin;
  readonly from_h: number;
  /** Null: it goes on. */
  readonly to_h: number | null;
}

/**
 * What is compared, in which unit (UCUM).
 * `volume`: drained + sampled, and net, over the `window_h` hours that end at a level.
 * `rate`: the same in each of the last `consecutive_h` hours that end at a level; every one of them has to cross.
 * `total-negativity`: imposed suction + seal part, a positive magnitude.
 * `imposed-below-ordered`: ordered − shown suction. `seal-below-fill`: fill depth − seal level.
 * `chamber-fill`: level / capacity. `leak-days`: elapsed days from chest closure, else placement, to a leak seen.
 * `output-stopping`: drained + sampled per hour over the `window_h` hours that end at a level, surely less than the
 * threshold after the `steady_h` hours before them surely gave `steady_ml_h` or more.
 * `unexplained-fall`: a fall of the level that no entry explains; `swing-lost`: no swing where there was one. Neither
 * has a number.
 */
export type Measure =
  | { readonly quantity: 'volume'; readonly unit: 'mL' | 'mL/kg'; readonly window_h: number }
  | { readonly quantity: 'rate'; readonly unit: 'mL/h' | 'mL/kg/h'; readonly consecutive_h: number }
  | {
      readonly quantity: 'total-negativity' | 'imposed-below-ordered' | 'seal-below-fill';
      readonly unit: 'cm[H2O]';
    }
  | { readonly quantity: 'chamber-fill'; readonly unit: '1' }
  | { readonly quantity: 'leak-days'; readonly unit: 'd' }
  | {
      readonly quantity: 'output-stopping';
      readonly unit: 'mL/h';
      readonly window_h: number;
      readonly steady_h: number;
      readonly steady_ml_h: Decimal;
    }
  | { readonly quantity: 'unexplained-fall'; readonly unit: 'mL' }
  | { readonly quantity: 'swing-lost'; readonly unit: '1' };

export type Quantity = Measure['quantity'];

/** Which drains a row is for; null stands for any. */
export interface RuleGate {
  readonly populations: readonly Population[] | null;
  readonly indications: readonly Indication[] | null;
  readonly sites: readonly Site[] | null;
  readonly fluids: readonly FluidCharacter[] | null;
}

export type Rule = RuleGate &
  Measure & {
    readonly id: string;
    readonly title: string;
    /** Each tube by itself, or the sum of all tubes of the patient. */
    readonly basis: 'one-tube' | 'all-tubes';
    /** As the source prints it; only output that stops is below its threshold. */
    readonly operator: '>' | '>=' | '<';
    /** In `unit`. */
    readonly threshold: Decimal;
    readonly clock: Clock;
    /** A window edge inside a longer interval is not interpolated, h. */
    readonly max_gap_h: number;
    readonly source: string;
    readonly evidence: Evidence;
    readonly on: boolean;
    /** What local policy changed of the row as its source has it, in words; empty where it stands as published. */
    readonly changed: readonly string[];
  };

export type RuleOf<Q extends Quantity> = Extract<Rule, { readonly quantity: Q }>;

/** The rules in force, and how often a drain is expected to be read. */
export interface RuleTable {
  readonly version: string;
  readonly rules: readonly Rule[];
  /** A drain whose last counted reading is older is overdue, h. */
  readonly reading_every_h: Readonly<Record<Population, number>>;
}
