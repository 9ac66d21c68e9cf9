/** What a rule finds at the levels and readings of a drain, in order of time. */

import type { Weight } from '../fold/weight.ts';
import { compare } from '../numbers/compare.ts';
import { add, approximately, type Rational, rational } from '../numbers/rational.ts';
import type { EpochMs, Microlitres } from '../numbers/units.ts';
import type { Rule } from '../vocabulary/rule.ts';

export interface Moment {
  readonly at: EpochMs;
  /** As charted. */
  readonly at_text: string;
}

/** Values are in the unit of the rule, unrounded. */
export interface Finding extends Moment {
  /** Of a volume or rate: drained + sampled; the least of several hours. Null where the rule has no number. */
  readonly value: Rational | null;
  /** Of a volume or rate: drained + sampled − instilled. */
  readonly net: Rational | null;
  /** Expanded (k = 2), reading error only; null where it is not known. */
  readonly uncertainty: number | null;
  /** By the operator of the rule, on unrounded numbers. */
  readonly crossed: boolean;
  /** |value − threshold| <= U: raised, whether crossed or not. */
  readonly within_uncertainty: boolean;
  /** The value is a lower bound, and crosses as one. */
  readonly at_least: boolean;
  /** Which volume crosses; null where the rule is not about volumes. */
  readonly by: 'net-and-gross' | 'gross-only' | null;
  readonly instilled: Microlitres | null;
  readonly weight: Weight | null;
  readonly window: { readonly from: EpochMs; readonly to: EpochMs } | null;
  /** The value is the depth of water that is lacking, cm. */
  readonly is_water: boolean;
  /** Ids of the entries behind it; null for all that stand behind its window. */
  readonly entries: readonly string[] | null;
}

export type Outcome =
  | { readonly state: 'raised' | 'single'; readonly finding: Finding }
  | ({ readonly state: 'clear' } & Moment)
  | ({ readonly state: 'not-assessable'; readonly reason: string } & Moment);

export interface Standing {
  readonly crossed: boolean;
  readonly within_uncertainty: boolean;
}

/**
 * A value against the threshold of a rule: the exact difference is compared with 0, so no rounding comes between.
 * @param uncertainty in the unit of the rule; null where no reading error is known: then nothing is within it
 */
export function standingOf(
  rule: Pick<Rule, 'operator' | 'threshold'>,
  value: Rational,
  uncertainty: number | null,
): Standing {
  const difference = add(value, rational(-rule.threshold.thousandths, 1000));
  const { crossed, within_uncertainty } = compare(
    approximately(difference),
    uncertainty ?? 0,
    rule.operator,
    0,
  );
  return { crossed, within_uncertainty: uncertainty !== null && within_uncertainty };
}

export const isRaised = ({ crossed, within_uncertainty }: Standing): boolean => crossed || within_uncertainty;

/** A finding of a rule that is not about volumes: no net, no window of time. */
export const NOT_OF_VOLUME = {
  net: null,
  at_least: false,
  by: null,
  instilled: null,
  weight: null,
  window: null,
  is_water: false,
} as const;

/** A finding of a rule that has no number: it is so. */
export const WITHOUT_NUMBER = {
  value: null,
  uncertainty: null,
  crossed: true,
  within_uncertainty: false,
} as const;
