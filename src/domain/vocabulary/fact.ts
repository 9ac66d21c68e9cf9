import type { Author, Identifier, Reference } from './entry.ts';
import type { Rule } from './rule.ts';
import type { UnitProfile } from './unit-profile.ts';

export type CalendarKind = 'hour' | 'shift' | 'day';

export type TrailingHours = 1 | 4 | 8 | 12 | 24;

/** What the record gets as Observations. One name, one meaning, one unit (fhir/codes.ts). */
export type ObservationName =
  | 'reading'
  | 'level'
  | 'opening-level'
  | 'closing-level'
  | 'net-drainage'
  | 'drainage-rate'
  | 'drainage-rate-per-kg'
  | 'cumulative-drainage'
  | `net-drainage-${TrailingHours}h`
  | `net-drainage-${CalendarKind}`
  | `patient-net-drainage-${CalendarKind}`
  | 'advisory'
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

/** What the service hands to the record: the collection units too, off which facts are read. */
export type FactName = ObservationName | 'collection-unit';

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
  | 'rate-per-kg-uncertainty'
  | 'rule-value'
  | 'rule-threshold'
  | 'rule-net'
  | 'rule-uncertainty';

export type FactValue =
  /** Decimal digits in the unit of the fact's name; `at_least` where only a lower bound is known. */
  | { readonly quantity: string; readonly at_least?: true }
  | { readonly code: string }
  | { readonly text: string }
  | { readonly unit: UnitProfile; readonly serial: string | null }
  /** A row of the rule table. */
  | { readonly rule: string; readonly title: string }
  /** No value, and why. */
  | { readonly absent: string }
  /** A grouping fact has members in place of a value. */
  | { readonly grouping: true };

export type Flag =
  | 'suspect'
  | 'lower-bound'
  | 'interpolated'
  | 'left-out'
  | 'low-confidence'
  | 'within-uncertainty'
  | 'drained-and-sampled-only'
  | 'reviewed';

export interface Component {
  readonly name: ComponentName;
  readonly quantity: string;
  /** Where the unit is not that of the name alone. */
  readonly unit?: Rule['unit'];
}

/** Names a fact by the entry it hangs on; of the same drain, unless another is named. */
export interface FactRef {
  readonly name: FactName;
  readonly anchor: string;
  readonly drain?: string;
}

export type ObservedFact = Fact & { readonly name: ObservationName };

export const isObserved = (fact: Fact): fact is ObservedFact => fact.name !== 'collection-unit';

/** One thing that is charted or derived, at a moment or over a period, with what it rests on. */
export interface Fact extends FactRef {
  /** A period without an end goes on. */
  readonly effective: { readonly at: string } | { readonly from: string; readonly to?: string };
  /** It goes on, and more of the same will change it: not final yet. */
  readonly open?: true;
  readonly value: FactValue;
  readonly components: readonly Component[];
  readonly flags: readonly Flag[];
  readonly derived_from: readonly FactRef[];
  readonly members: readonly FactRef[];
  /** The collection unit that shows it. */
  readonly read_off?: FactRef;
  /** Who charted it; null for what the service worked out. */
  readonly author: Author | null;
  readonly encounter: Reference | null;
  readonly note: string | null;
  /** The sender's own, where it sent this very fact. */
  readonly identifier?: Identifier;
}
