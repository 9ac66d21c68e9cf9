/** What drained since the previous reading, where units were changed or levels re-based meanwhile. Arithmetic ours. */
import { describe, expect, it } from 'vitest';
import { roundHalfEven } from '../../../src/domain/numbers/rational.ts';
import {
  at,
  changed,
  clamped,
  instilled,
  level,
  placed,
  rebased,
  rowOf,
  sampled,
  setUp,
  type Told,
  unclamped,
} from '../../support/drain-script.ts';

const START = [placed(), setUp('08:00', 0), level('a', '10:00', 1840)];
const volumesOf = (story: readonly Told[], key = 'b') => {
  const { volumes } = rowOf(story, key);
  if (volumes === null) throw new Error(`${key} ends no interval`);
  return volumes;
};

describe('the row since the previous reading', () => {
  it('joins the parts before and after a unit change: 140 and 95 mL in 2 h', () => {
    const story = [
      ...[...START, instilled('in', '10:10', 30), clamped('c', '10:20'), unclamped('o', '10:30')],
      ...[changed('u', '11:00', 1980, 0), sampled('s', '11:10', 5)],
      ...[clamped('c2', '11:20'), unclamped('o2', '11:40'), level('b', '12:00', 95)],
    ];
    const { since_reading: since, since_reading_rate: rate } = volumesOf(story);
    expect(since).toMatchObject({
      ...{ from: { id: 'a' }, to: { id: 'b' }, risesFrom: { id: 'a' } },
      ...{ status: 'measured', reason: null, suspect: false },
      ...{ drained: 235_000, sampled: 5000, instilled: 30_000 },
    });
    expect(since.clamped.map(({ from, to }) => (to - from) / 60_000)).toEqual([10, 20]);
    if (rate.value === null) throw new Error('no rate');
    // 235 + 5 - 30 mL in 2 h.
    expect(roundHalfEven(rate.value, 1)).toBe('105.0');
  });

  it('is as uncertain as the four levels that it rests on, and not at all where it is not known', () => {
    const known = [...START, changed('u', '11:00', 1980, 0), level('b', '12:00', 95)];
    // Marks of 5 mL, each g/√12, and k = 2 (JCGM 100:2008, 4.3.7, 5.1.2, 6.2.1): 2 √(4 × 25/12) mL.
    expect(volumesOf(known).uncertainty.since_reading).toBeCloseTo(2 * Math.sqrt((4 * 5000 ** 2) / 12), 6);
    const unknown = [...START, changed('u', '11:00', null, null), level('b', '12:00', 95)];
    expect(volumesOf(unknown).uncertainty).toMatchObject({ interval: null, since_reading: null });
  });

  it('is the interval itself where nothing lies between', () => {
    const { interval, since_reading: since, rate, since_reading_rate } = volumesOf(START, 'a');
    expect(since).toEqual(interval);
    expect(since_reading_rate).toEqual(rate);
    expect(since.from.at_text).toBe(at('08:00'));
  });

  it.each<[string, Told[], object]>([
    [
      'a lower bound where one part is one',
      [changed('u', '10:30', 1980, 0), rebased('tip', '11:00', 40, 20), level('b', '12:00', 50)],
      { status: 'at-least', reason: 'level-rebased', drained: 210_000 },
    ],
    [
      'unknown where one part is',
      [changed('u', '11:00', 1980, null), level('b', '12:00', 95)],
      { status: 'indeterminate', reason: 'opening-not-stated', drained: null },
    ],
    [
      'unknown where another part is a lower bound',
      [rebased('tip', '11:00', 1900, null), level('b', '12:00', 95)],
      { status: 'indeterminate', reason: 'opening-not-stated', drained: null },
    ],
    [
      'in doubt where one part is',
      [changed('u', '11:00', 1980, 0), level('b', '12:00', 95), level('c', '13:00', 20)],
      { status: 'measured', suspect: true, drained: 235_000 },
    ],
  ])('is %s', (_, told, expected) => {
    const { since_reading: since, since_reading_rate: rate } = volumesOf([...START, ...told]);
    expect(since).toMatchObject(expected);
    const { uncertainty } = volumesOf([...START, ...told]);
    expect(uncertainty.since_reading === null).toBe(since.drained === null);
    if (since.status !== 'measured') expect(rate).toEqual({ value: null, reason: 'interval-not-measured' });
  });
});
