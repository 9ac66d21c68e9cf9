/** Numbers as they are shown: in the unit that ends their name, rounded once. */
import { type Rational, roundedHalfEven } from '../domain/numbers/rational.ts';

/** µL as mL, exact. */
export const ml = (microlitres: number | null): number | null =>
  microlitres === null ? null : microlitres / 1000;

/** µL as mL: exact where it is whole microlitres, else to 1 decimal. */
export function mlOf({ numerator, denominator }: Rational): number {
  if (denominator === 1n) return Number(numerator) / 1000;
  return numerator % denominator === 0n
    ? Number(numerator / denominator) / 1000
    : rounded({ numerator, denominator: denominator * 1000n }, 1);
}

/** Half to even. */
export const rounded = roundedHalfEven;

/** Of what is no exact number to begin with, such as an uncertainty. */
export const toDecimals = (value: number | null, decimals: number): number | null =>
  value === null ? null : Number(value.toFixed(decimals));

/** Expanded uncertainty, µL as mL. */
export const uncertaintyMl = (uncertainty: number | null): number | null => toDecimals(ml(uncertainty), 1);
