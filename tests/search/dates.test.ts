/**
 * Dates: what a search value means, in which zone, and how it compares.
 * Sources: FHIR R4 search.html#date and #prefix (http://hl7.org/fhir/R4/search.html), read literally; zones by the IANA
 * time zone database.
 */
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { readRange } from '../../src/fhir/search/date-range.ts';
import { momentsOf } from '../../src/search/zone.ts';
import { type Indexed, indexed } from './indexed.ts';

const code = { coding: [{ system: 'urn:example:code', code: 'x' }] };
const about = (id: string, effective: object) => ({ id, status: 'final', code, ...effective });

describe('a search value against instants, a period, a month and an open period', () => {
  let index: Indexed;
  beforeAll(() => {
    index = indexed();
    index.issue(
      about('A', { effectiveDateTime: '2024-03-10T08:00Z' }),
      about('B', { effectivePeriod: { start: '2024-03-10T22:00:00Z', end: '2024-03-11T02:00:00Z' } }),
      about('C', { effectiveDateTime: '2024-03' }),
      about('D', { effectivePeriod: { start: '2024-03-10T09:00:00Z' } }),
      about('none', {}),
    );
  });
  afterAll(() => index.close());

  test.each([
    ['2024-03-10', 'A'],
    ['eq2024-03-10', 'A'],
    ['ne2024-03-10', 'BCD'],
    ['gt2024-03-10', 'BCD'],
    ['ge2024-03-10', 'ABCD'],
    ['lt2024-03-10', 'C'],
    ['le2024-03-10', 'AC'],
    ['sa2024-03-10', ''],
    ['eb2024-03-11', 'A'],
    ['ap2024-03-10', 'ABCD'],
    // Wholly within March: the month itself, and what ends in it.
    ['2024-03', 'ABC'],
    ['2024', 'ABC'],
    ['sa2024-03-09', 'ABD'],
  ])('date=%s finds %s', (value, expected) => {
    expect([...index.ids(`date=${value}`)].sort().join('')).toBe(expected);
    // The same by a plan that sorts everything.
    expect([...index.ids(`date=${value}&_sort=status,date&_count=1`)].sort().join('')).toBe(expected);
  });

  test('several values are either, several parameters are both', () => {
    expect([...index.ids('date=eq2024-03-10,sa2024-03-10')].sort()).toEqual(['A']);
    expect([...index.ids('date=ge2024-03-10&date=lt2024-03-10')].sort()).toEqual(['C']);
    expect([...index.ids('date=gt2024-03-10&date=sa2024-03-09')].sort()).toEqual(['B', 'D']);
  });

  test('what says no time is found only as missing', () => {
    expect(index.ids('date:missing=true')).toEqual(['none']);
    expect([...index.ids('date:missing=false')].sort()).toEqual(['A', 'B', 'C', 'D']);
  });
});

describe('precision', () => {
  let index: Indexed;
  beforeAll(() => {
    index = indexed();
    index.issue(
      about('quarter', { effectiveDateTime: '2024-03-10T08:00:17.250Z' }),
      about('whole', { effectiveDateTime: '2024-03-10T08:00:17Z' }),
      about('zero', { effectiveDateTime: '2024-03-10T08:00:00Z' }),
    );
  });
  afterAll(() => index.close());

  test.each([
    ['eq2024-03-10T08:00:17Z', ['quarter', 'whole']],
    ['eq2024-03-10T08:00:17.250Z', ['quarter']],
    // Seconds that are zero are seconds, not a minute.
    ['eq2024-03-10T08:00:00Z', ['zero']],
    ['eq2024-03-10T08:00Z', ['quarter', 'whole', 'zero']],
    // An offset whose + was not percent-encoded comes as a blank.
    ['eq2024-03-10T10:00:17 02:00', ['quarter', 'whole']],
    ['eq2024-03-10T10:00:17%2B02:00', ['quarter', 'whole']],
  ])('date=%s', (value, expected) => {
    expect([...index.ids(`date=${value}`)].sort()).toEqual(expected);
  });
});

test('a day without an offset is the day of the zone of the service', () => {
  const index = indexed('Europe/Berlin');
  index.issue(
    about('eve', { effectiveDateTime: '2024-06-09T22:30:00Z' }),
    about('noon', { effectiveDateTime: '2024-06-10T10:00:00Z' }),
    about('night', { effectiveDateTime: '2024-06-10T22:30:00Z' }),
  );
  // 00:30 in Berlin, which is two hours ahead in summer.
  expect([...index.ids('date=2024-06-10')].sort()).toEqual(['eve', 'noon']);
  expect(index.ids('date=ge2024-06-11')).toEqual(['night']);
  expect([...index.ids('date=2024-06-10T00:00:00Z,sa2024-06-10T00:00:00Z')].sort()).toEqual([
    'night',
    'noon',
  ]);
  index.close();
});

describe('a date as a range', () => {
  const berlin = momentsOf('Europe/Berlin');
  const HOUR = 3_600_000;

  test('a day of a zone has 23 or 25 hours where its clock changes (IANA: 31 March and 27 October 2024)', () => {
    const hours = (text: string) => {
      const { lo, hi } = readRange(text, berlin) ?? { lo: 0, hi: 0 };
      return (hi - lo) / HOUR;
    };
    expect(['2024-03-30', '2024-03-31', '2024-10-27', '2024-03'].map(hours)).toEqual([
      24,
      23,
      25,
      31 * 24 - 1,
    ]);
  });

  test.each([
    ['2024', '2024-01-01T00:00:00Z', '2025-01-01T00:00:00Z'],
    ['2024-02', '2024-02-01T00:00:00Z', '2024-03-01T00:00:00Z'],
    ['2024-02-29', '2024-02-29T00:00:00Z', '2024-03-01T00:00:00Z'],
    ['2024-12-31', '2024-12-31T00:00:00Z', '2025-01-01T00:00:00Z'],
    ['2024-02-29T23:59', '2024-02-29T23:59:00Z', '2024-03-01T00:00:00Z'],
    ['2024-02-29T23:59:59-05:00', '2024-03-01T04:59:59Z', '2024-03-01T05:00:00Z'],
    ['2024-02-29T12:00:00.5Z', '2024-02-29T12:00:00.500Z', '2024-02-29T12:00:00.600Z'],
    ['0099', '0099-01-01T00:00:00Z', '0100-01-01T00:00:00Z'],
  ])('%s', (text, lo, hi) => {
    expect(readRange(text, momentsOf('UTC'))).toEqual({ lo: Date.parse(lo), hi: Date.parse(hi) });
  });

  test.each([
    '2023-02-29',
    '2024-13',
    '2024-1',
    '24',
    '2024-03-10T',
    '2024-03-10T24:00Z',
    '2024-03-10T08',
    '2024-03-10T08:00:60Z',
    '2024-03-10T08:00+15:00',
    '2024-03-10 08:00',
    'today',
    '',
  ])('%s is none', (text) => {
    expect(readRange(text, momentsOf('UTC'))).toBeUndefined();
  });
});
