/** The digits in which a value is shown beside the threshold of its rule. */
import { add, approximately, type Rational, rational, roundHalfEven } from '../numbers/rational.ts';
import { thousandthsText } from '../numbers/units.ts';
import type { Rule } from '../vocabulary/rule.ts';

export const RULE_DECIMALS = {
  mL: 1,
  'mL/kg': 2,
  'mL/h': 1,
  'mL/kg/h': 2,
  'cm[H2O]': 3,
  d: 1,
  '1': 3,
} as const;
const MOST_DECIMALS = 9;

/** Whole thousandths as they are; else rounded half to even, to as many digits as still show on which side it is. */
export function digitsBeside(value: Rational, { threshold, unit }: Pick<Rule, 'threshold' | 'unit'>): string {
  if ((value.numerator * 1000n) % value.denominator === 0n)
    return thousandthsText(Number((value.numerator * 1000n) / value.denominator));
  const difference = approximately(add(value, rational(-threshold.thousandths, 1000)));
  for (let decimals: number = RULE_DECIMALS[unit]; ; decimals += 1) {
    const digits = roundHalfEven(value, decimals);
    const isTrue = Math.sign(Number(digits) - threshold.toJSON()) === Math.sign(difference);
    if (isTrue || decimals >= MOST_DECIMALS) return digits;
  }
}
