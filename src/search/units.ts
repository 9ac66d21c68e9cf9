import { UcumLhcUtils } from '@lhncbc/ucum-lhc';
import type { ConvertUnit } from './fragments.ts';

const UCUM_CODE = /^[!-~]{1,60}$/;

/** Converts by UCUM; undefined where the units measure different things, or one is not written as UCUM writes it. */
export const convertUnit: ConvertUnit = (value, from, to) => {
  if (from === to) return value;
  // Checked before the library sees it: it writes units with blanks, as they came, to standard output.
  if (!UCUM_CODE.test(from) || !UCUM_CODE.test(to)) return undefined;
  try {
    const { status, toVal, msg } = UcumLhcUtils.getInstance().convertUnitTo(from, value, to);
    // A message beside success means a guess ("pound" for "[lb_av]").
    if (status !== 'succeeded' || toVal === null || msg.length > 0) return undefined;
    return Number.isFinite(toVal) ? toVal : undefined;
  } catch {
    // It throws on codes that are names of built-in properties, such as "constructor".
    return undefined;
  }
};
