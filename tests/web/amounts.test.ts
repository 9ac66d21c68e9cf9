/** Volumes, rates and pressures in words: with their bound, their error of reading, or why there is none. */
import { describe, expect, test } from 'vitest';
import {
  cumulativeCell,
  cumulativeText,
  figureText,
  intervalText,
  latestText,
  negativityText,
  netText,
  rateText,
  volumeText,
  windowText,
} from '../../src/web/amounts.ts';
import type { Interval } from '../../src/web/row-answers.ts';

const interval = (more: Partial<Interval>): Interval => ({
  ...{ from: '2025-03-01T09:00:00Z', to: '2025-03-01T10:00:00Z', status: 'measured', reason: null },
  ...{ suspect: false, net_ml: 40, uncertainty_ml: 4.1, low_confidence: false },
  ...{ drained_ml: 40, sampled_ml: 0, instilled_ml: 0, rate_ml_h: 40, rate_uncertainty_ml_h: 4.1 },
  ...more,
});
const bound = interval({
  ...{ status: 'at-least', reason: 'no-closing-level', uncertainty_ml: 8.2 },
  ...{ rate_ml_h: null, rate_reason: 'interval-not-measured' },
});
const unknown = interval({
  ...{ status: 'indeterminate', reason: 'unexplained-fall', net_ml: null, uncertainty_ml: null },
  ...{ rate_ml_h: null, rate_reason: 'interval-not-measured' },
});
const doubtful = interval({ suspect: true });
const short = interval({ rate_ml_h: null, rate_reason: 'interval-too-short' });

describe('a volume', () => {
  test.each([
    [{ net_ml: 40, uncertainty_ml: 8.2, at_least: false }, '40 ± 8.2 mL', '40 ± 8.2'],
    [{ net_ml: 40, uncertainty_ml: 8.2, at_least: true }, 'at least 40 ± 8.2 mL', 'at least 40 ± 8.2'],
    [{ net_ml: 40, uncertainty_ml: null, at_least: true }, 'at least 40 mL', 'at least 40'],
    [{ net_ml: null, uncertainty_ml: null, at_least: false }, 'not known', 'not known'],
  ])('%j is %s, and %s below a heading that names the unit', (volume, words, cell) => {
    expect([volumeText(volume), volumeText(volume, '')]).toEqual([words, cell]);
  });

  test('of trailing hours', () => {
    const window = { hours: 24, net_ml: 40, at_least: true, uncertainty_ml: 8.2, coverage: 0.5 };
    expect([windowText(window), windowText(undefined)]).toEqual(['at least 40 ± 8.2 mL', 'not covered']);
  });

  test('beside a figure of a policy', () => {
    const figure = { value: 3.2, uncertainty: 0.12 };
    expect(figureText(figure, 'mL/kg', false)).toBe('3.2 ± 0.12 mL/kg');
    expect(figureText(figure, 'mL/kg', true)).toBe('at least 3.2 ± 0.12 mL/kg');
    expect(figureText({ value: 90, uncertainty: null }, 'mL', false)).toBe('90 mL');
    expect(figureText(undefined, 'mL', true)).toBe('not known');
  });
});

const FALL = 'the level fell and nothing charted explains it';

describe('an interval', () => {
  test.each([
    [interval({}), '40 ± 4.1', '40 ± 4.1', '40 ± 4.1 mL/h'],
    [bound, 'at least 40 ± 8.2', 'no rate, the volume is not known', 'at least 40 ± 8.2 mL'],
    [unknown, `not known: ${FALL}`, 'no rate, the volume is not known', `not known: ${FALL}`],
    [
      doubtful,
      '40 ± 4.1; in doubt, as a later fall contradicts it',
      '40 ± 4.1',
      '40 ± 4.1 mL/h; in doubt, as a later fall contradicts it',
    ],
    [short, '40 ± 4.1', 'no rate, too short for a rate', '40 ± 4.1 mL'],
  ])('%# shows its net and its rate in cells, and in short', (of, net, rate, latest) => {
    expect([netText(of, ''), rateText(of, ''), latestText(of)]).toEqual([net, rate, latest]);
  });

  test('in full', () => {
    expect([interval({}), bound, unknown, doubtful].map(intervalText)).toEqual([
      'net 40 ± 4.1 mL in 1 h, 40 ± 4.1 mL/h',
      'net at least 40 ± 8.2 mL in 1 h, no rate, the volume is not known',
      `net not known over 1 h: ${FALL}`,
      'net 40 ± 4.1 mL in 1 h, 40 ± 4.1 mL/h; in doubt, as a later fall contradicts it',
    ]);
  });
});

test('all since placement: a total, a bound, or what was measured and why that is no total', () => {
  const total = { net_ml: 140, at_least: false, uncertainty_ml: 8, sum_of_measured_intervals_ml: 140 };
  const none = { ...total, net_ml: null, reasons: ['unexplained-fall', 'suspect-rise'] };
  const why = `${FALL}, a later fall contradicts the rise`;
  const all = [{ ...total, reasons: [] }, { ...total, at_least: true, reasons: ['no-closing-level'] }, none];
  expect(all.map(cumulativeText)).toEqual([
    'in all 140 ± 8 mL since placement',
    'in all at least 140 ± 8 mL since placement',
    `measured intervals come to 140 mL, no total: ${why}`,
  ]);
  expect(all.map(cumulativeCell)).toEqual(['140 ± 8', 'at least 140 ± 8', `(140) no total: ${why}`]);
});

test('a negativity that is not proven says between what it lies, and why', () => {
  const reason = 'bubbling-not-charted';
  const all = [
    { value_cmh2o: 25 },
    { value_cmh2o: null, low_cmh2o: 5, high_cmh2o: 20, reason },
    { value_cmh2o: null, low_cmh2o: 5, high_cmh2o: null, reason },
    { value_cmh2o: null, low_cmh2o: null, high_cmh2o: null, reason },
  ];
  expect(all.map((each) => negativityText(each))).toEqual([
    '25 cmH2O below atmosphere',
    '5 to 20 cmH2O below atmosphere, not proven: bubbling not charted',
    '5 to ? cmH2O below atmosphere, not proven: bubbling not charted',
    'not known: bubbling not charted',
  ]);
  expect(all.map((each) => negativityText(each, ''))).toEqual([
    '25',
    '5 to 20, not proven: bubbling not charted',
    '5 to ?, not proven: bubbling not charted',
    'not known: bubbling not charted',
  ]);
});
