/** Hours of the sheet: what has a number stands by itself, and no hour is lost where several are told as one. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { hourLines } from '../../src/web/hours.ts';

type Hour = Parameters<typeof hourLines>[0][number];

const HOUR_MS = 3_600_000;
const START_MS = Date.parse('2026-03-01T22:00:00Z');
const moment = (hour: number): string => new Date(START_MS + hour * HOUR_MS).toISOString();

const COVERED = { net_ml: 40, uncertainty_ml: 4.1, coverage: 1, reason: null, uncovered: [] };
const FAR_APART = { net_ml: null, coverage: 0, reason: 'not-covered', uncovered: ['gap-too-long'] };
const AFTER = { ...FAR_APART, uncovered: ['after-last-level'] };
const OUT = { net_ml: null, coverage: null, reason: 'not-in-place', uncovered: [] };

const hour = (n: number, of: Partial<Hour>): Hour => ({
  ...{ local_from: moment(n), local_to: moment(n + 1) },
  ...{ net_ml: null, at_least: false, preliminary: false, coverage: null, reason: null, uncovered: [] },
  ...of,
});
const told = (...of: readonly Partial<Hour>[]) => hourLines(of.map((each, n) => hour(n, each)));

describe('hours of the sheet', () => {
  test('without a number and for one reason are one line, over midnight too', () => {
    expect(told(COVERED, FAR_APART, FAR_APART, FAR_APART, COVERED)).toEqual([
      { from: moment(0), to: moment(1), net: '40 ± 4.1 mL', covered: '100 %', remark: '' },
      { from: moment(1), to: moment(4), net: '', covered: '0 %', remark: 'readings too far apart' },
      { from: moment(4), to: moment(5), net: '40 ± 4.1 mL', covered: '100 %', remark: '' },
    ]);
  });

  test('stand apart where the reason is another, or where the hour still goes on', () => {
    const lines = told(FAR_APART, AFTER, { ...AFTER, preliminary: true });
    expect(lines.map(({ remark }) => remark)).toEqual([
      'readings too far apart',
      'after the last level',
      'after the last level, so far',
    ]);
  });

  test('with the same number are never one: each is a volume of its own', () => {
    expect(told(COVERED, COVERED)).toHaveLength(2);
  });

  test('before the drain was placed are left out, and do not join what lies around them', () => {
    expect(told(FAR_APART, OUT, FAR_APART)).toHaveLength(2);
  });

  test('are all there once, whatever they say', () => {
    const some = fc.array(fc.constantFrom(COVERED, FAR_APART, AFTER, OUT), { maxLength: 30 });
    fc.assert(
      fc.property(some, (of) => {
        const listed = told(...of).flatMap(({ from, to }) =>
          Array.from({ length: (Date.parse(to) - Date.parse(from)) / HOUR_MS }, (_, n) =>
            new Date(Date.parse(from) + n * HOUR_MS).toISOString(),
          ),
        );
        expect(listed).toEqual(of.flatMap((each, n) => (each === OUT ? [] : [moment(n)])));
      }),
    );
  });
});
