/** $stats. Source: http://hl7.org/fhir/R4/observation-operation-stats.html; figures as named beside each. */
import type { Observation } from 'fhir/r4.js';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { STATISTICS, type Statistic } from '../../src/fhir/search/stats-parameters.ts';
import { statistic } from '../../src/search/statistics.ts';
import { problemsOf } from '../support/r4.ts';
import { type Indexed, indexed } from './indexed.ts';

describe('figures', () => {
  const of = (name: Statistic, ...values: number[]) => statistic(name, values, values.length);

  test('NIST StRD univariate NumAcc1 and NumAcc2 (certified values, from memory): mean and standard deviation', () => {
    expect(of('average', 10000001, 10000003, 10000002)).toBe(10000002);
    expect(of('std-dev', 10000001, 10000003, 10000002)).toBe(1);
    // 1.2, then 1.1 and 1.3 by turns, 1001 in all: mean 1.2, standard deviation 0.1.
    const numAcc2 = [1.2, ...Array.from({ length: 1000 }, (_, n) => (n % 2 === 0 ? 1.1 : 1.3))];
    expect(of('average', ...numAcc2)).toBeCloseTo(1.2, 14);
    expect(of('std-dev', ...numAcc2)).toBeCloseTo(0.1, 14);
  });

  test('2 4 4 4 5 5 7 9, the textbook row (mean 5, population deviation 2): sample variance 32/7', () => {
    const row = [2, 4, 4, 4, 5, 5, 7, 9];
    expect(of('average', ...row)).toBe(5);
    expect(of('sum', ...row)).toBe(40);
    expect(of('variance', ...row)).toBeCloseTo(32 / 7, 12);
    expect(of('std-dev', ...row)).toBeCloseTo(Math.sqrt(32 / 7), 12);
    expect(of('median', ...row)).toBe(4.5);
    expect([of('minimum', ...row), of('maximum', ...row)]).toEqual([2, 9]);
    // Sums of powers of the deviations by hand: 42 and 356; m2 = 4.
    expect(of('skew', ...row)).toBeCloseTo(((Math.sqrt(56) / 6) * (42 / 8)) / 8, 12);
    expect(of('kurtosis', ...row)).toBeCloseTo((7 / (6 * 5)) * (9 * (356 / 8 / 16 - 3) + 6), 12);
  });

  test('quantiles of 0 to 10 are their own tenths (Hyndman and Fan, type 7)', () => {
    const row = [10, 1, 2, 3, 4, 5, 6, 7, 8, 9, 0];
    expect([of('20-percent', ...row), of('80-percent', ...row)]).toEqual([2, 8]);
    expect([of('5-1', ...row), of('5-2', ...row), of('5-3', ...row), of('5-4', ...row)]).toEqual([
      2, 4, 6, 8,
    ]);
    expect([of('4-lower', ...row), of('4-upper', ...row), of('4-dev', ...row)]).toEqual([2.5, 7.5, 2.5]);
  });

  test('where there are too few numbers there is no figure, never 0', () => {
    expect(of('average')).toBeUndefined();
    expect(of('std-dev', 1)).toBeUndefined();
    expect(of('skew', 1, 2)).toBeUndefined();
    expect(of('kurtosis', 1, 2, 3)).toBeUndefined();
    expect(of('skew', 1, 1, 1, 1)).toBeUndefined();
    expect(of('count')).toBe(0);
    expect(of('sum', 0.1, 0.2, 0.3)).toBeCloseTo(0.6, 15);
  });
});

describe('the operation', () => {
  let index: Indexed;
  const UCUM = 'http://unitsofmeasure.org';
  const observation = (id: string, hour: number, value: object, more: object = {}) => ({
    id,
    status: 'final',
    code: { coding: [{ system: 'urn:example:code', code: 'level' }] },
    subject: { reference: 'Patient/1' },
    effectiveDateTime: `2026-05-31T${String(hour).padStart(2, '0')}:00:00Z`,
    ...value,
    ...more,
  });
  const quantity = (value: number, code: string, more: object = {}) => ({
    valueQuantity: { value, system: UCUM, code, unit: code, ...more },
  });

  beforeAll(() => {
    index = indexed();
    index.issue(
      observation('a', 20, quantity(100, 'mL')),
      observation('b', 21, quantity(0.3, 'L')),
      observation('c', 22, quantity(200, 'mL')),
      observation('error', 22, quantity(9000, 'mL'), { status: 'entered-in-error' }),
      observation('bound', 23, quantity(5000, 'mL', { comparator: '>=' })),
      observation('absent', 23, { dataAbsentReason: { text: 'unknown' } }),
      observation('other', 22, quantity(7000, 'mL'), { subject: { reference: 'Patient/2' } }),
      observation('pressure', 22, quantity(20, 'cm[H2O]'), {
        code: { coding: [{ system: 'urn:example:code', code: 'mixed' }] },
      }),
      observation('volume', 22, quantity(20, 'mL'), {
        code: { coding: [{ system: 'urn:example:code', code: 'mixed' }] },
      }),
    );
  });
  afterAll(() => index.close());

  const figures = (query: string) => {
    const { parameter = [] } = index.stats(`subject=Patient/1&${query}`);
    const [first] = parameter
      .filter(({ name }) => name === 'statistics')
      .map(({ resource }) => resource as Observation);
    return Object.fromEntries(
      (first?.component ?? []).map(({ code, valueQuantity }) => [code.coding?.[0]?.code, valueQuantity]),
    );
  };

  test('numbers of one subject, in the unit of the newest; errors, bounds and absences are none', () => {
    const found = figures(
      'code=level&system=urn:example:code&statistic=average,min,max,count&statistic=total-count,sum',
    );
    const mL = { system: UCUM, code: 'mL', unit: 'mL' };
    expect(found).toEqual({
      average: { value: 200, ...mL },
      minimum: { value: 100, ...mL },
      maximum: { value: 300, ...mL },
      sum: { value: 600, ...mL },
      count: { value: 3, system: UCUM, code: '1', unit: '1' },
      'total-count': { value: 5, system: UCUM, code: '1', unit: '1' },
    });
  });

  test('the last hours before now, or a period', () => {
    // It is 00:00 on 1 June.
    expect(figures('code=level&statistic=count&duration=3.5').count?.value).toBe(2);
    expect(
      figures('code=level&statistic=count&period=2026-05-31T20:30:00Z/2026-05-31T21:30:00Z').count?.value,
    ).toBe(1);
    expect(figures('code=level&statistic=average&duration=1.5').average).toBeUndefined();
  });

  test('a coding of another system is another code; the sources are given where asked for', () => {
    expect(figures('coding=urn:example:other|level&statistic=count').count?.value).toBe(0);
    const whole = index.stats('subject=1&coding=urn:example:code|level&statistic=count&include=true&limit=2');
    expect(whole.parameter?.map(({ name }) => name)).toEqual(['statistics', 'source', 'source']);
    // A bound has no system of units that the validators could know; all else is valid R4.
    expect(problemsOf(whole).filter((each) => !each.includes('dataAbsentReason'))).toEqual([]);
  });

  test('what cannot be added is refused with 422', () => {
    expect(() => figures('code=mixed&statistic=average')).toThrow(
      expect.objectContaining({ status: 422, message: expect.stringContaining('cm[H2O]') }),
    );
  });

  test.each([
    ['code=level&statistic=average', ''],
    ['statistic=average', '1'],
    ['code=level', '1'],
    ['code=level&statistic=regression', '1'],
    ['code=level&statistic=average&duration=1&period=2026', '1'],
    ['code=level&statistic=average&period=2026-02/2026-01', '1'],
    ['code=level&statistic=average&duration=-1', '1'],
    ['code=level&statistic=average&period=2026-01-01', '1'],
    ['code=http://loinc.org|9129-8&statistic=average', '1'],
    ['code=level&statistic=average&colour=red', '1'],
    ['code=level,seal-level&statistic=average', '1'],
    ['coding=urn:example:code|level,urn:example:code|seal-level&statistic=average', '1'],
    ['coding=level,seal-level&statistic=average', '1'],
  ])('%s is refused', (query, subject) => {
    expect(() => index.stats(`${query}${subject === '' ? '' : '&subject=1'}`)).toThrow(
      expect.objectContaining({ status: 400 }),
    );
  });

  test('every statistic has a display', () => {
    for (const name of Object.keys(STATISTICS))
      expect(figures(`code=level&statistic=${name}`)).toHaveProperty([name]);
  });
});
