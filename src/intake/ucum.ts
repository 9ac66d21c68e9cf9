import { UcumLhcUtils } from '@lhncbc/ucum-lhc';

/** UCUM code of each unit that ends a field name. */
export const UNIT_OF_SUFFIX = {
  _ml_min: 'mL/min',
  _cmh2o: 'cm[H2O]',
  _ml: 'mL',
  _kg: 'kg',
} as const;

/** The UCUM unit that a field's name ends in, or undefined for a field without unit. */
export function unitOfField(name: string): string | undefined {
  const found = Object.entries(UNIT_OF_SUFFIX).find(([suffix]) => name.endsWith(suffix));
  return found?.[1];
}

/**
 * The value in another unit, as decimal digits with at most 3 places.
 * @returns undefined when UCUM does not know the unit or the two measure different things
 */
export function convert(digits: string, from: string, to: string): string | undefined {
  const { status, toVal } = UcumLhcUtils.getInstance().convertUnitTo(from, Number(digits), to);
  if (status !== 'succeeded' || toVal === null || !Number.isFinite(toVal)) return undefined;
  return String(Number(toVal.toFixed(3)));
}
