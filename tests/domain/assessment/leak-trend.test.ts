/** Whether an air leak rises or falls, like compared with like. */
import { describe, expect, it } from 'vitest';
import { HOUR_MS } from '../../../src/domain/numbers/units.ts';
import type { AirLeak as Charted } from '../../../src/domain/vocabulary/entry.ts';
import {
  at,
  changed,
  clamped,
  corrected,
  dec,
  placed,
  reading,
  rowOf,
  says,
  setUp,
  type Told,
  unclamped,
  voided,
  WET_UNIT,
} from '../../support/drain-script.ts';
import { clock, flows, grade, grades, leak, leakOf, START } from '../../support/leaks.ts';

const trendOf = (story: readonly Told[], of: 'grade' | 'flow' = 'grade') => {
  const { trend, reason, hours, unlike, test, like } = leakOf(story)[of];
  return {
    trend,
    reason,
    values: hours.map(({ value }) => value / 1000),
    unlike,
    s: test?.s ?? null,
    phase: like?.phase,
  };
};

describe('the trend of a leak', () => {
  it.each([
    // [values of successive hours, trend, reason, S]; S from its definition, arithmetic ours.
    [[4, 4, 3, 3, 2, 1], 'falling', null, -13],
    [[1, 2, 3, 3, 4, 4], 'rising', null, 13],
    [[2, 2, 2, 2, 2], 'constant', null, 0],
    [[0, 0, 0, 0, 0], 'constant', null, 0],
    [[2, 2, 2, 2], 'no-trend-shown', 'fewer-than-5-hours', null],
    [[4, 3, 2, 1], 'no-trend-shown', 'fewer-than-5-hours', null],
    [[3, 2, 3, 2, 3], 'no-trend-shown', 'not-significant', 0],
    [[5, 4, 3, 2, 1], 'falling', null, -10],
    // p = 8 / 120: an untied five with one pair out of order is not significant.
    [[5, 4, 3, 1, 2], 'no-trend-shown', 'not-significant', -8],
  ] as const)('%j is %s (%s)', (values, trend, reason, s) => {
    const expected = { trend, reason, values: [...values], s };
    expect(trendOf([...START, ...grades(values)])).toMatchObject(expected);
    expect(trendOf([...START, ...flows(values)], 'flow')).toMatchObject(expected);
    expect(trendOf([...START, ...flows(values)])).toMatchObject({ reason: 'not-assessed', values: [] });
  });

  it('takes the worst value of each UTC hour, whatever offset it was charted in', () => {
    const story = [
      ...START,
      grade('01:05', 1),
      grade('01:35', 4),
      grade('01:55', 3),
      grade('02:00', 2),
      grade('2026-03-01T08:29:00+05:30', 3),
    ];
    expect(trendOf(story).values).toEqual([4, 3]);
  });

  it('looks back over 24 clock hours, that of the newest value included', () => {
    const story = [...START, grade('00:59', 7), grade('01:00', 6), grade('+1 00:10', 5)];
    const { hours, from, newest } = leakOf(story).grade;
    expect(hours.map(({ value }) => value / 1000)).toEqual([6, 5]);
    expect(from).toBe(Date.parse(at('01:00')));
    expect(newest?.row.item.id).toBe('r+1 00:10');
  });

  it('is that of the newest values: a late entry, a correction and a retraction change it', () => {
    const story = [...START, ...grades([4, 4, 3, 3, 2])];
    expect(trendOf([...story, grade('06:00', 1)]).s).toBe(-13);
    const mended = corrected('c', 'r05:00', reading('r05:00', '05:00', { air_leak: { grade: dec(7) } }));
    expect(trendOf([...story, mended]).values).toEqual([4, 4, 3, 3, 7]);
    expect(trendOf([...story, voided('v', 'r03:00')]).values).toEqual([4, 4, 3, 2]);
  });

  it('leaves out a grade beyond the scale, but not the flow charted with it', () => {
    const story = [...START, ...grades([4, 4, 3, 3, 2]), grade('06:00', 8, { flow_ml_min: dec(40) })];
    expect(rowOf(story, 'r06:00').marks).toContain('beyond-leak-scale');
    expect(trendOf(story).values).toEqual([4, 4, 3, 3, 2]);
    expect(trendOf(story, 'flow').values).toEqual([40]);
  });
});

describe('only like is compared with like', () => {
  const five = { ...WET_UNIT, id: 'wet-5', leak_scale_max: dec(5) };
  const off = (time: string) => says(`off${time}`, time, 'suction-changed', { source: 'off' as const });

  it('a grade of another scale is no part of it; a flow is', () => {
    const story = [
      ...START,
      ...grades([5, 4, 3], 1, { flow_ml_min: dec(90) }),
      changed('u', '03:30', 0, 0, five),
      ...grades([2, 1], 4, { flow_ml_min: dec(80) }),
    ];
    expect(trendOf(story)).toMatchObject({ values: [2, 1], unlike: 3, reason: 'fewer-than-5-hours' });
    expect(trendOf(story, 'flow').values).toEqual([90, 90, 90, 80, 80]);
    expect([leakOf(story).grade.like?.scaleMax, leakOf(story).flow.like?.scaleMax]).toEqual([5000, null]);
    const back = [...story, changed('u2', '05:30', 0, 0, WET_UNIT), ...grades([2, 1], 6)];
    expect(trendOf(back)).toMatchObject({ values: [5, 4, 3, 2, 1], unlike: 2, trend: 'falling' });
  });

  it('a unit whose scale is not known gives no trend', () => {
    const { leak_scale_max: _none, ...plain } = WET_UNIT;
    const onPlain = (readings: readonly Told[]) => [...START, setUp('00:30', 0, plain, 'plain'), ...readings];
    expect(trendOf(onPlain(grades([5, 4, 3, 2, 1])))).toMatchObject({
      trend: 'no-trend-shown',
      reason: 'leak-scale-not-known',
    });
    expect(trendOf(onPlain(flows([50, 40, 30, 20, 10])), 'flow')).toMatchObject({ trend: 'falling' });
  });

  it('a grade read while no unit was set up has no scale either, and is a leak all the same', () => {
    const found = leakOf([placed('00:00'), grade('01:00', 3)]);
    expect(found.grade).toMatchObject({ trend: 'no-trend-shown', reason: 'leak-scale-not-known' });
    expect(found.leak_days).toMatchObject({ value_ms: HOUR_MS });
  });

  it('a fall that comes with suction going off is no fall of the leak', () => {
    const story = [...START, ...grades([4, 4, 4]), off('03:30'), ...grades([1, 1, 1], 4)];
    expect(trendOf(story)).toMatchObject({ values: [1, 1, 1], unlike: 3, reason: 'fewer-than-5-hours' });
    expect(
      trendOf([
        ...START,
        ...grades([4, 4, 4]),
        ...[4, 5, 6].map((h) =>
          leak(clock(h), { grade: dec(1) }, h === 4 ? { suction: { source: 'off' } } : {}),
        ),
      ]).values,
    ).toEqual([1, 1, 1]);
  });

  it.each([
    ['gravity', 'falling', null],
    ['electronic', 'falling', null],
    ['wet-suction', 'no-trend-shown', 'suction-state-not-charted'],
    ['dry-suction', 'no-trend-shown', 'suction-state-not-charted'],
  ] as const)('where on or off was never charted, a %s unit gives: %s (%s)', (kind, trend, reason) => {
    const story = [placed('00:00'), setUp('00:00', 0, { ...WET_UNIT, kind }), ...grades([5, 4, 3, 2, 1])];
    expect(trendOf(story)).toMatchObject({ trend, reason });
  });

  it('a cough is not compared with quiet breathing', () => {
    const story = [
      ...START,
      ...grades([5, 5], 1, { phase: 'forced-expiratory' }),
      ...grades([4, 3], 3, { phase: 'expiratory' }),
      ...grades([2, 1], 5, { phase: 'forced-expiratory' }),
    ];
    expect(trendOf(story)).toMatchObject({ values: [5, 5, 2, 1], unlike: 2, phase: 'forced-expiratory' });
  });

  it('a leak of which nobody charted the phase is not compared with one of quiet breathing', () => {
    const story = [...START, ...grades([4, 3]), ...grades([2, 1], 3, { phase: 'expiratory' })];
    expect(trendOf(story)).toMatchObject({ values: [2, 1], unlike: 2, phase: 'expiratory' });
  });

  it('no leak at a cough is not compared with quiet breathing', () => {
    const story = [
      ...START,
      ...grades([3, 2], 1, { phase: 'expiratory' }),
      grade('03:00', 0, { phase: 'forced-expiratory' }),
      grade('04:00', 1, { phase: 'expiratory' }),
    ];
    expect(trendOf(story)).toMatchObject({ values: [3, 2, 1], unlike: 1, phase: 'expiratory' });
  });

  it('an absence stands with a phase of quiet breathing', () => {
    const story = [
      ...START,
      ...grades([4, 3, 2], 1, { phase: 'expiratory' }),
      grade('04:00', 1, { phase: 'expiratory' }),
      grade('05:00', 0, { phase: 'none' }),
      grade('06:00', 0),
    ];
    expect(trendOf(story)).toMatchObject({
      values: [4, 3, 2, 1, 0, 0],
      trend: 'falling',
      phase: 'expiratory',
    });
  });

  it('but not with a cough, nor with a phase that nobody charted', () => {
    const endingWith = (more: Charted) => [
      ...START,
      ...grades([4, 3, 2, 1], 1, more),
      grade('05:00', 0, { phase: 'none' }),
    ];
    expect(trendOf(endingWith({ phase: 'forced-expiratory' }))).toMatchObject({ values: [0], unlike: 4 });
    expect(trendOf(endingWith({}))).toMatchObject({ values: [0], unlike: 4 });
  });

  it('what is read on a clamped tube is left out', () => {
    const story = [
      ...START,
      ...grades([4, 4]),
      clamped('k', '02:30'),
      grade('03:00', 0),
      unclamped('o', '03:30'),
      grade('04:00', 4),
      leak('05:00', { grade: dec(0) }, { clamped: true }),
    ];
    expect(trendOf(story)).toMatchObject({ values: [4, 4, 4], unlike: 0 });
  });

  it.each([
    ['near the opening level only', 5, 5, [3]],
    ['near the closing level', 205, 5, [4, 3]],
    ['near both', 205, 200, [4, 3]],
    ['charted without a level', null, 5, [4, 3]],
  ])('a reading in the minute of a unit change, %s', (_, level, opening, values) => {
    const story = [
      ...START,
      grade('01:00', 4),
      leak('02:00', { grade: dec(3) }, level === null ? {} : { level_ml: dec(level) }),
      changed('u', '02:00', 205, opening, five),
    ];
    expect(trendOf(story).values).toEqual(values);
  });
});

describe('a fall while the swing was lost', () => {
  const swing = (time: string, tidaling: 'present' | 'absent') => reading(`s${time}`, time, { tidaling });
  const falling = grades([5, 4, 3, 2, 1]);

  it.each([
    ['before and after it', [swing('00:30', 'present'), swing('02:30', 'present')], 'falling', null],
    ['meanwhile', [swing('00:30', 'present'), swing('02:30', 'absent')], 'no-trend-shown', 'swing-lost'],
    [
      'meanwhile, and seen again',
      [swing('00:30', 'present'), swing('02:30', 'absent'), swing('03:30', 'present')],
      'no-trend-shown',
      'swing-lost',
    ],
    [
      'and seen again before it',
      [swing('00:10', 'present'), swing('00:20', 'absent'), swing('00:30', 'present')],
      'falling',
      null,
    ],
    [
      'and seen again with the first value',
      [swing('00:10', 'present'), swing('00:20', 'absent'), swing('01:00', 'present')],
      'falling',
      null,
    ],
    ['after the newest value', [swing('05:30', 'present'), swing('06:00', 'absent')], 'falling', null],
    [
      'after it was seen with the newest value',
      [swing('05:00', 'present'), swing('06:00', 'absent')],
      'falling',
      null,
    ],
    ['never seen', [swing('02:30', 'absent')], 'falling', null],
  ])('%s', (_, swings, trend, reason) => {
    expect(trendOf([...START, ...falling, ...swings])).toMatchObject({ trend, reason, s: -10 });
  });

  it('a rise is said all the same', () => {
    const swings = [swing('00:30', 'present'), swing('02:30', 'absent')];
    expect(trendOf([...START, ...grades([1, 2, 3, 4, 5]), ...swings]).trend).toBe('rising');
  });
});
