/** How full the chamber is and how long it lasts. Volumes are invented; arithmetic ours. */
import { describe, expect, it } from 'vitest';
import { chamberFill } from '../../../src/domain/assessment/chamber.ts';
import { stateOf } from '../../../src/domain/fold/chart.ts';
import { type Rational, roundHalfEven } from '../../../src/domain/numbers/rational.ts';
import {
  bookOf,
  changed,
  dec,
  instilled,
  level,
  placed,
  rebased,
  rowsOf,
  sampled,
  setUp,
  type Told,
  WET_UNIT,
} from '../../support/drain-script.ts';

const fillOf = (story: readonly Told[]) =>
  chamberFill(
    stateOf(bookOf(story).chart).chamber,
    rowsOf(story).findLast((row) => row.volumes !== null)?.volumes ?? null,
  );

const hours = (value: Rational | null): string | null => (value === null ? null : roundHalfEven(value, 1));

/** [value, low, high, hours of the window or why there is no value] */
const timeOf = (story: readonly Told[]) => {
  const time = fillOf(story)?.time_to_full;
  if (time === undefined) return null;
  const why = time.value === null ? time.reason : time.window.hours;
  return [hours(time.value), hours(time.low), hours(time.high), why];
};

const START = [placed(), setUp('08:00', 0)];
const hourly = (values: readonly number[]): Told[] =>
  values.map((ml, i) => level(`l${i}`, `${String(9 + i).padStart(2, '0')}:00`, ml));

describe('the fill of the chamber', () => {
  it.each([
    // Three quarters: Royal Marsden manual, quoting Woodrow. 2000 mL: at 1500.
    [0, '0.000', false],
    [1495, '0.748', false],
    [1500, '0.750', true],
    [2000, '1.000', true],
  ])('%d of 2000 mL is %s, three quarters full: %s', (ml, fraction, isThreeQuarters) => {
    const found = fillOf([...START, level('a', '09:00', ml)]);
    expect(found === null ? null : roundHalfEven(found.fill, 3)).toBe(fraction);
    expect(found?.three_quarters_full).toBe(isThreeQuarters);
  });

  it('is compared before it is rounded: 1499.5 of 2000 mL is 0.750 and not three quarters', () => {
    const fine = { ...WET_UNIT, graduations: [{ up_to_ml: dec(2000), mark_ml: dec('0.5') }] };
    const found = fillOf([placed(), setUp('08:00', 0, fine), level('a', '09:00', '1499.5')]);
    expect(found === null ? null : roundHalfEven(found.fill, 3)).toBe('0.750');
    expect(found?.three_quarters_full).toBe(false);
  });

  it('is not known without a unit or a level on its scale', () => {
    expect(fillOf([placed()])).toBeNull();
    expect(fillOf([placed(), level('a', '09:00', 100)])).toBeNull();
    expect(fillOf([placed(), setUp('08:00', null)])).toBeNull();
    expect(fillOf([...START, level('a', '09:00', 100), changed('u', '10:00', 120, null)])).toBeNull();
  });

  it('is that of the unit in use', () => {
    const small = { ...WET_UNIT, id: 'wet-500', capacity_ml: dec(500) };
    const found = fillOf([...START, level('a', '09:00', 1900), changed('u', '10:00', 1950, 125, small)]);
    expect(found).toMatchObject({ capacity: 500_000, three_quarters_full: false });
    expect(found?.level).toMatchObject({ id: 'u', part: 'opening', level: 125_000 });
  });
});

describe('time to full', () => {
  it.each<[string, Told[], unknown]>([
    // Room 1600 mL at 400 mL in 4 h.
    ['goes by 4 h', hourly([100, 200, 300, 400]), ['16.0', '16.0', '16.0', 4]],
    // The last hour drained 250: room 1500 / 250, not 1500 / 125.
    ['goes by 1 h where that is faster', hourly([100, 200, 250, 500]), ['6.0', '6.0', '6.0', 1]],
    ['goes by 4 h where 1 h is slower', hourly([200, 300, 390, 400]), ['16.0', '16.0', '16.0', 4]],
    // 70 mL were put in and 25 drawn off: the chamber filled by 400 all the same.
    [
      'goes by what drained, not by the net',
      [...hourly([100, 200, 300, 400]), instilled('i', '11:30', 70), sampled('s', '11:40', 25)],
      ['16.0', '16.0', '16.0', 4],
    ],
    [
      'has none before 4 h are covered, but a bound',
      hourly([100, 200, 300]),
      [null, null, '17.0', 'coverage-incomplete'],
    ],
    ['has none where nothing drained', hourly([0, 0, 0, 0]), [null, null, null, 'no-drainage']],
    ['has none once full', hourly([500, 1000, 1500, 2000]), [null, null, null, 'full']],
    // The whole 4 h are one interval, so the last hour by itself is not known.
    ['goes by 4 h alone where 1 h is not covered', [level('a', '12:00', 400)], ['16.0', '16.0', '16.0', 4]],
    // Nothing is known of the last hour alone, of what drained in it least of all from what was put in: 1600 / 200 is 8 h.
    [
      'takes nothing put in for drainage',
      [level('a', '12:00', 400), instilled('i', '11:30', 200)],
      ['16.0', '16.0', '16.0', 4],
    ],
    ['has none before a second level', [], [null, null, null, 'no-rate-at-level']],
    [
      'has none after a fall that nothing explains',
      [level('a', '09:00', 100), level('b', '10:00', 20)],
      [null, null, null, 'coverage-incomplete'],
    ],
    [
      'has none where a part is a lower bound only',
      [level('a', '09:00', 100), changed('u', '10:00', null, 0), level('b', '13:00', 400)],
      [null, null, '16.0', 'coverage-incomplete'],
    ],
    [
      'has none where the level is newer than the rate',
      [...hourly([100, 200, 300, 400]), changed('u', '13:00', null, 0)],
      [null, null, null, 'no-rate-at-level'],
    ],
    [
      'goes on over a unit change with both levels',
      [...hourly([100, 200, 300]), changed('u', '12:00', 400, 0)],
      ['20.0', '20.0', '20.0', 4],
    ],
    [
      'has none after a level was re-based',
      [...hourly([100, 200, 300]), rebased('t', '12:00', 400, 50)],
      [null, null, '19.5', 'coverage-incomplete'],
    ],
  ])('%s', (_, story, expected) => {
    expect(timeOf([...START, ...story])).toEqual(expected);
  });

  it.each([
    // The hour before 13:00 is known for its second half only, in which it drained 100, or 300.
    ['goes by 4 h where the known part of the last hour is no faster', 500, ['13.3', '13.3', '13.3', 4]],
    ['has none where it is', 700, [null, null, '4.3', 'coverage-incomplete']],
  ])('%s', (_, last, expected) => {
    const story = [level('a', '09:00', 50), level('b', '12:30', 400), level('c', '13:00', last)];
    expect(timeOf([...START, ...story])).toEqual(expected);
  });

  it('takes nothing put in for drainage where the last hour is known in part', () => {
    // 450 mL in 4 h fill 1500 in 13.3 h. Half of the last hour is not known, so there is no most that it drained; the
    // 200 mL put in then are no such bound: 1500 / 200 would be 7.5 h.
    const story = [level('a', '09:00', 50), level('b', '12:30', 400), level('c', '13:00', 500)];
    expect(timeOf([...START, ...story, instilled('i', '12:40', 200)])).toEqual(['13.3', '13.3', '13.3', 4]);
  });

  it('has bounds where the edge of the window cuts an interval', () => {
    // The 4 h before 13:00 begin in the middle of 08:00 to 10:00, which drained 200: 100 of it, or none, or all.
    const story = [...START, level('a', '10:00', 200), level('b', '11:30', 300), level('c', '13:00', 400)];
    // Room 1600: 300 in 4 h; at most 400, at least 200. In the last hour 66.7 of 100: at most 100, at least nothing.
    expect(timeOf(story)).toEqual(['21.3', '16.0', '32.0', 4]);
  });

  it('goes by 1 h where that is faster than 4 h whose edge cuts an interval', () => {
    // The 4 h before 13:00: 100 of the 200 drained until 10:00, then 100 and 200: 100 mL/h. The last hour: 200 mL/h.
    const story = [...START, level('a', '10:00', 200), level('b', '12:00', 300), level('c', '13:00', 500)];
    expect(timeOf(story)).toEqual(['7.5', '7.5', '7.5', 1]);
  });

  it.each([
    ['250.0', [100, 200, 250, 500]],
    ['100.0', [100, 200, 300, 400]],
  ])('says at which rate: %s mL/h', (rate, levels) => {
    const time = fillOf([...START, ...hourly(levels)])?.time_to_full;
    if (time === undefined || time.value === null) throw new Error('no time to full');
    const { numerator, denominator } = time.rate;
    expect(roundHalfEven({ numerator, denominator: denominator * 1000n }, 1)).toBe(rate);
  });
});
