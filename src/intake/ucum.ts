import { UcumLhcUtils } from '@lhncbc/ucum-lhc';

/** UCUM code of each unit that ends a field name. */
const UNIT_OF_SUFFIX = {
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

const UCUM_CODE = /^[!-~]{1,60}$/;
/** What is converted: nothing is read into an exponent, and no digit is lost. */
export const PLAIN_NUMBER = /^-?[0-9]{1,9}(?:\.[0-9]{1,9})?$/;

/**
 * The value in another unit, as decimal digits with at most 3 places.
 * @returns undefined when the value is no plain number, or UCUM does not know the unit by this very code, or the two
 * measure different things
 */
export function convert(digits: string, from: string, to: string): string | undefined {
  // Checked before the library sees it: it writes units with blanks, as they came, to standard output.
  if (!UCUM_CODE.test(from) || !PLAIN_NUMBER.test(digits)) return undefined;
  if (from === to) return digits;
  const converted = convertWithLibrary(Number(digits), from, to);
  return converted === undefined ? undefined : String(Number(converted.toFixed(3)));
}

function convertWithLibrary(value: number, from: string, to: string): number | undefined {
  try {
    const { status, toVal, msg } = UcumLhcUtils.getInstance().convertUnitTo(from, value, to);
    // A message beside success means a guess ("pound" for "[lb_av]"): a clinical unit is not guessed.
    if (status !== 'succeeded' || toVal === null || msg.length > 0) return undefined;
    return Number.isFinite(toVal) ? toVal : undefined;
  } catch {
    // It throws on codes that are names of built-in properties, such as "constructor".
    return undefined;
  }
}
