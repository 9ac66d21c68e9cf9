import { describe, expect, it } from 'vitest';
import { roundHalfEven } from '../../../src/domain/numbers/rational.ts';
import {
  clamped,
  corrected,
  instilled,
  level,
  onDrain,
  placed,
  reading,
  rowOf,
  setUp,
  type Told,
  unclamped,
  weighed,
} from '../../support/drain-script.ts';

const START: readonly Told[] = [placed(), setUp('08:00', 0)];

/** mL/h over wall-clock and over open time, and mL/kg/h; or why there is none. */
function rates(story: readonly Told[], key: string) {
  const rate = rowOf(story, key).volumes?.rate;
  if (rate === undefined) return null;
  if (rate.value === null) return rate.reason;
  const { open, per_kg } = rate;
  return {
    wall: roundHalfEven(rate.value, 1),
    open: open.value === null ? open.reason : roundHalfEven(open.value, 1),
    perKg: per_kg.value === null ? per_kg.reason : roundHalfEven(per_kg.value, 2),
  };
}

const wall = (story: readonly Told[], key: string) => {
  const found = rates(story, key);
  return typeof found === 'object' ? found?.wall : found;
};

describe('the rate of an interval', () => {
  it.each([
    ['180 to 310 mL in 4 h: common practice, no source', 180, '12:00', 310, '32.5'],
    ['200 mL in 2 h: worked example of a nursing test item', 0, '10:00', 200, '100.0'],
    ['400 mL in 5 h: worked example of a nursing test item', 0, '13:00', 400, '80.0'],
    ['50 mL in 8 h is 6.25: worked example of an open nursing textbook, half to even', 0, '16:00', 50, '6.2'],
  ])('is net volume over time, %s', (_, opening, time, ml, expected) => {
    expect(wall([placed(), setUp('08:00', opening), level('a', time, ml)], 'a')).toBe(expected);
  });

  it('is that of the whole row across a unit change (common practice, no source)', () => {
    const second = setUp('10:00', 0, undefined, 'second');
    const story = [
      ...START,
      level('a', '09:00', 40),
      level('b', '10:00', 60),
      second,
      level('c', '12:00', 95),
    ];
    const { volumes } = rowOf(story, 'c');
    expect(volumes?.since_reading_rate).toEqual(volumes?.rate);
    expect(wall(story, 'c')).toBe('47.5');
  });

  it('is negative while a flush is retained', () => {
    expect(wall([...START, instilled('in', '08:00', 50), level('a', '10:00', 30)], 'a')).toBe('-10.0');
  });
});

describe('an interval under 15 min (common practice, no source)', () => {
  it('keeps its 10 mL and has no rate: not 200 mL/h in 3 min', () => {
    const story = [placed(), setUp('08:00', 120), level('a', '08:03', 130)];
    expect(rowOf(story, 'a').volumes?.interval.drained).toBe(10_000);
    expect(rates(story, 'a')).toBe('interval-too-short');
  });

  it.each([
    ['08:14:59', 'interval-too-short'],
    ['08:15', '40.0'],
  ])('ends at 15 min: a level at %s has rate %s', (time, expected) => {
    expect(wall([...START, level('a', time, 10)], 'a')).toBe(expected);
  });
});

describe('an interval without an exact volume', () => {
  it.each([
    ['a lower bound', [...START, level('x', '09:00', 40), setUp('10:00', 0, undefined, 'second')]],
    ['unknown', [...START, level('x', '09:00', 200)]],
  ])('has no rate: %s', (_, story) => {
    expect(rates([...story, level('a', '12:00', 95)], 'a')).toBe('interval-not-measured');
  });
});

describe('the reading error of a rate', () => {
  it('is not known while no unit is, per hour or per kilogram, though the rates are', () => {
    const story = [placed(), level('a', '08:00', 0), weighed('w', '08:00', 70), level('b', '09:00', 105)];
    expect(rates(story, 'b')).toMatchObject({ wall: '105.0', perKg: '1.50' });
    expect(rowOf(story, 'b').volumes?.rate).toMatchObject({
      uncertainty: null,
      per_kg: { uncertainty: null },
    });
  });
});

describe('a clamped tube (common practice, no source)', () => {
  const story = (...events: readonly Told[]) => [...START, ...events, level('a', '12:00', 120)];

  it.each([
    [
      '2 h of 4: 30 over the wall clock, 60 over open time',
      story(clamped('c', '09:00'), unclamped('u', '11:00')),
    ],
    [
      'by a reading that says so',
      story(reading('c', '09:00', { clamped: true }), reading('u', '11:00', { clamped: false })),
    ],
    [
      'said twice, which changes nothing',
      story(clamped('c', '09:00'), clamped('d', '10:00'), unclamped('u', '11:00')),
    ],
    [
      'opened twice, which changes nothing',
      story(clamped('c', '09:00'), unclamped('u', '11:00'), unclamped('w', '11:30')),
    ],
    ['since before the start, until 10:00', story(clamped('c', '08:00'), unclamped('u', '10:00'))],
    ['still clamped at the end, since 10:00', story(clamped('c', '10:00'))],
  ])('is left out of the open-time rate: %s', (_, told) => {
    expect(rates(told, 'a')).toMatchObject({ wall: '30.0', open: '60.0' });
  });

  it('has no open-time rate when clamped throughout', () => {
    expect(rates(story(clamped('c', '08:00')), 'a')).toMatchObject({
      wall: '30.0',
      open: 'clamped-throughout',
    });
  });

  it.each([
    ['08:14', 'open-time-too-short'],
    ['08:15', '480.0'],
  ])(
    'has an open-time rate from a quarter of an hour on, as over the wall clock: clamped at %s',
    (at, open) => {
      // 120 mL in 4 h; over one minute of open time the same volume would read 7200 mL/h.
      expect(rates(story(clamped('c', at)), 'a')).toMatchObject({ wall: '30.0', open });
    },
  );

  it('carries a clamp over a reading into the next interval', () => {
    const told = [
      ...START,
      clamped('c', '08:30'),
      level('a', '09:00', 10),
      unclamped('u', '09:30'),
      level('b', '10:00', 20),
    ];
    expect(rates(told, 'a')).toMatchObject({ wall: '10.0', open: '20.0' });
    expect(rates(told, 'b')).toMatchObject({ wall: '10.0', open: '20.0' });
  });
});

describe('the weight-indexed rate', () => {
  const withWeights = (...weights: readonly Told[]) => [...START, ...weights, level('a', '09:00', 105)];
  const perKg = (story: readonly Told[], key = 'a') => {
    const found = rates(story, key);
    return typeof found === 'object' ? found?.perKg : found;
  };

  it.each([
    ['70 kg, 105 mL/h is 1.5 mL/kg/h: worked example after Colson 2016', [weighed('w', '08:00', 70)], '1.50'],
    ['the last of two weights', [weighed('w', '07:00', 50), weighed('v', '07:30', 70)], '1.50'],
    ['a weight at the very start', [weighed('w', '08:00', 70)], '1.50'],
    ['not a weight after the start', [weighed('w', '08:01', 70)], 'no-weight'],
    ['never a default weight', [], 'no-weight'],
  ])('takes %s', (_, weights, expected) => {
    expect(perKg(withWeights(...weights))).toBe(expected);
  });

  it('takes, of two weights at one minute, the one whose identifier is last in code-point order', () => {
    // U+E000 is below U+1F600 as a code point and above it as UTF-16.
    expect(perKg(withWeights(weighed('w\u{1F600}', '08:00', 70), weighed('w\uE000', '08:00', 35)))).toBe(
      '1.50',
    );
    expect(perKg(withWeights(weighed('w\uE000', '08:00', 70), weighed('w\u{1F600}', '08:00', 35)))).toBe(
      '3.00',
    );
  });

  it.each([
    ['adult', '+7 08:00', '1.50'],
    ['adult', '+7 08:01', 'weight-too-old'],
    ['paediatric', '+1 08:00', '1.50'],
    ['paediatric', '+1 08:01', 'weight-too-old'],
  ])('of an %s does not take a weight that is too old: interval from %s', (population, from, expected) => {
    const start = [placed('08:00', { population }), weighed('w', '08:00', 70), setUp(from, 0)];
    expect(perKg([...start, level('a', from.replace(' 08', ' 09'), 105)])).toBe(expected);
  });

  it('is not assessable while the population is not stated', () => {
    const story = [placed('08:00', { population: undefined }), weighed('w', '08:00', 70), setUp('08:00', 0)];
    expect(perKg([...story, level('a', '09:00', 105)])).toBe('population-not-stated');
  });

  describe('of another drain of the same patient', () => {
    const patient = { patient: { reference: 'Patient/1' } };
    const other = { patient: { reference: 'Patient/2' } };
    const second = (who: object) => onDrain('d2', { ...placed('08:00', who), key: 'placed-2' });
    const weight = onDrain('d2', weighed('w', '08:00', 70));
    const first = [placed('08:00', patient), setUp('08:00', 0), level('a', '09:00', 105)];

    it.each([
      ['serves this drain', [...first, second(patient), weight], '1.50'],
      ['whichever came first', [second(patient), weight, ...first], '1.50'],
      ['not when the patient is another', [...first, second(other), weight], 'no-weight'],
      [
        'as corrected',
        [...first, second(patient), weight, onDrain('d2', corrected('w2', 'w', weighed('', '08:00', 35)))],
        '3.00',
      ],
    ])('%s', (_, story, expected) => {
      expect(perKg(story)).toBe(expected);
    });

    it('does not serve drains of which neither has a patient', () => {
      const story = [...START, level('a', '09:00', 105), second({}), weight];
      expect(perKg(story)).toBe('no-weight');
    });
  });
});
