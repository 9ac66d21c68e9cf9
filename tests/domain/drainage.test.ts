import { describe, expect, it } from 'vitest';
import { roundHalfEven } from '../../src/domain/rational.ts';
import { dec, level, placed, rowOf, setUp, type Told, WET_UNIT } from '../support/drain-script.ts';

const START: readonly Told[] = [placed(), setUp('08:00', 0)];
const changed = (time: string, closing: number | null, opening: number | null): Told => ({
  key: 'change',
  time,
  says: {
    kind: 'unit-changed',
    profile: WET_UNIT.id,
    unit_profile: WET_UNIT,
    ...(closing === null ? {} : { closing_level_ml: dec(closing) }),
    ...(opening === null ? {} : { opening_level_ml: dec(opening) }),
  },
});

/** Volume of an interval in mL, and its rate in mL/h. */
function interval(story: readonly Told[], key: string) {
  const { volumes } = rowOf(story, key);
  if (volumes === null) return null;
  const { interval, rate } = volumes;
  return {
    drained: interval.drained === null ? null : interval.drained / 1000,
    status: interval.status,
    rate: rate.value === null ? rate.reason : roundHalfEven(rate.value, 1),
  };
}

describe('drained volume (common practice, no source)', () => {
  it('is the rise of the level: 180 at 08:00, 310 at 12:00 is 130 mL at 32.5 mL/h', () => {
    const story = [placed(), setUp('08:00', 180), level('b', '12:00', 310)];
    expect(interval(story, 'b')).toEqual({ drained: 130, status: 'measured', rate: '32.5' });
  });

  it('goes across a unit change: 1840, closed at 1980, new unit 95 is 140 + 95 in one row of 235', () => {
    const story = [...START, level('a', '10:00', 1840), changed('11:00', 1980, 0), level('b', '12:00', 95)];
    expect(interval(story, 'change')).toEqual({ drained: 140, status: 'measured', rate: '140.0' });
    expect(interval(story, 'b')).toEqual({ drained: 95, status: 'measured', rate: '95.0' });
    const { volumes } = rowOf(story, 'b');
    expect(volumes?.since_reading.drained).toBe(235_000);
    const rate = volumes?.since_reading_rate;
    expect(rate?.value === null || rate === undefined ? null : roundHalfEven(rate.value, 1)).toBe('117.5');
  });

  it('is a lower bound without a closing level: at least 95, no rate', () => {
    const story = [...START, level('a', '10:00', 1840), changed('11:00', null, 0), level('b', '12:00', 95)];
    expect(interval(story, 'b')).toEqual({ drained: 95, status: 'at-least', rate: 'interval-not-measured' });
  });

  it('doubts a rise that a later fall contradicts: 250 for 205 looks like this', () => {
    const story = [...START, level('a', '09:00', 200), level('b', '10:00', 250), level('c', '11:00', 210)];
    expect(interval(story, 'c')).toEqual({
      drained: null,
      status: 'indeterminate',
      rate: 'interval-not-measured',
    });
    expect(rowOf(story, 'b').volumes?.interval.suspect).toBe(true);
    expect(rowOf(story, 'c').volumes?.cumulative).toMatchObject({
      net: 200_000,
      suspect: 50_000,
      reasons: ['suspect-rise', 'unexplained-fall'],
    });
  });
});
