import { describe, expect, it } from 'vitest';
import { convert } from '../../../src/intake/ucum.ts';
import { convertUcum } from '../../support/r4.ts';

/** Pa in a conventional centimetre of water and millimetre of mercury (encyclopaedic unit tables; definitions). */
const PA = { 'cm[H2O]': 98.0665, 'mm[Hg]': 133.322387415, kPa: 1000, mbar: 100, Pa: 1 } as const;
type Unit = keyof typeof PA;

const byDefinition = (value: number, from: Unit, to: Unit) => (value * PA[from]) / PA[to];

describe('pressures in other units', () => {
  it.each<[number, Unit, Unit, number, number, string]>([
    [-20, 'cm[H2O]', 'kPa', -1.96, 2, 'STM guideline 2017'],
    [-11, 'cm[H2O]', 'kPa', -1.08, 2, 'STM guideline 2017'],
    [-2, 'cm[H2O]', 'kPa', -0.196, 3, 'STM guideline 2017'],
    [-20, 'cm[H2O]', 'mm[Hg]', -14.711, 3, 'nursing skill sheet, printed as -15'],
    [-7, 'cm[H2O]', 'mm[Hg]', -5.149, 3, 'nursing skill sheet, printed as -5'],
    [-14, 'cm[H2O]', 'mm[Hg]', -10.298, 3, 'nursing skill sheet, printed as -10'],
    [-5, 'mm[Hg]', 'cm[H2O]', -6.8, 2, 'nursing skill sheet, back'],
    [-10, 'mm[Hg]', 'cm[H2O]', -13.6, 1, 'nursing skill sheet, back'],
    [-20, 'mm[Hg]', 'cm[H2O]', -27.19, 2, 'an open nursing textbook charts suction in the wrong unit'],
    [1, 'cm[H2O]', 'Pa', 98.0665, 4, 'encyclopaedic unit tables'],
    [1, 'cm[H2O]', 'mbar', 0.980665, 6, 'encyclopaedic unit tables'],
    // UCUM takes 133.322 Pa for the millimetre of mercury, hence a place fewer.
    [1, 'cm[H2O]', 'mm[Hg]', 0.735559, 5, 'encyclopaedic unit tables'],
    [1, 'mm[Hg]', 'cm[H2O]', 1.35951, 5, 'encyclopaedic unit tables'],
    [1, 'kPa', 'cm[H2O]', 10.19716, 5, 'encyclopaedic unit tables'],
  ])('%d %s in %s is %d (to %d places; %s)', (value, from, to, expected, places) => {
    expect(convertUcum(value, from, to)).toBeCloseTo(expected, places);
    expect(byDefinition(value, from, to)).toBeCloseTo(expected, places);
  });

  it.each([
    [2, 0.1961, 1.471],
    [5, 0.4903, 3.678],
    [10, 0.9807, 7.356],
    [15, 1.471, 11.033],
    [18, 1.7652, 13.24],
    [20, 1.9613, 14.711],
    [22, 2.1575, 16.182],
    [35, 3.4323, 25.745],
  ])('%d cm H2O is %d kPa and %d mmHg (encyclopaedic unit tables; arithmetic ours)', (cm, kPa, mmHg) => {
    expect(convertUcum(cm, 'cm[H2O]', 'kPa')).toBeCloseTo(kPa, 4);
    expect(convertUcum(cm, 'cm[H2O]', 'mm[Hg]')).toBeCloseTo(mmHg, 3);
    expect(byDefinition(cm, 'cm[H2O]', 'kPa')).toBeCloseTo(kPa, 4);
    expect(byDefinition(cm, 'cm[H2O]', 'mm[Hg]')).toBeCloseTo(mmHg, 3);
  });

  it.each<[string, Unit, string]>([
    ['1.96', 'kPa', '19.986'],
    ['-15', 'mm[Hg]', '-20.393'],
    ['1961.33', 'Pa', '20'],
    ['19.6133', 'mbar', '20'],
  ])('%s %s are taken in as %s cm H2O: by the definitions, to 3 places', (digits, from, expected) => {
    expect(convert(digits, from, 'cm[H2O]')).toBe(expected);
    expect(String(Number(byDefinition(Number(digits), from, 'cm[H2O]').toFixed(3)))).toBe(expected);
  });
});
