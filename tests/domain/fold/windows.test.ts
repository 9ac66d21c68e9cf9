import { describe, expect, it } from 'vitest';
import { derivedFacts, millilitres } from '../../../src/domain/facts/derived-facts.ts';
import {
  at,
  changed,
  clamped,
  instilled,
  level,
  ml,
  placed,
  rowOf,
  sampled,
  setUp,
  type Told,
  unclamped,
} from '../../support/drain-script.ts';

const START: readonly Told[] = [placed(), setUp('08:00', 0)];

/** One trailing window in mL and minutes. */
function windowAt(story: readonly Told[], key: string, hours: number) {
  const window = rowOf(story, key).volumes?.windows.find((w) => w.hours === hours);
  if (window === undefined) return null;
  return {
    net: millilitres(window.net),
    bounds: [ml(window.net_low), ml(window.net_high)],
    coveredMin: window.covered_ms / 60_000,
    interpolated: window.interpolated,
  };
}

describe('a trailing window (common practice, no source)', () => {
  it('is exact where a level stands at its edge', () => {
    const story = [...START, level('a', '09:00', 30), level('b', '10:00', 80)];
    expect(windowAt(story, 'b', 1)).toEqual({
      net: '50',
      bounds: [50, 50],
      coveredMin: 60,
      interpolated: false,
    });
  });

  it('spreads an interval that the edge cuts evenly over its time, between bounds', () => {
    // 06:40 1200 and 07:20 1280: 40 mL on either side of 07:00.
    const story = [
      placed('06:00'),
      setUp('06:00', 1200),
      level('a', '06:40', 1200),
      level('b', '07:20', 1280),
      level('c', '08:00', 1300),
    ];
    expect(windowAt(story, 'c', 1)).toEqual({
      net: '60',
      bounds: [20, 100],
      coveredMin: 60,
      interpolated: true,
    });
  });

  it('is a lower bound before the drain has been measured that long, and says how much is covered', () => {
    const story = [...START, level('a', '09:00', 30)];
    expect(windowAt(story, 'a', 4)).toEqual({
      net: '30',
      bounds: [30, null],
      coveredMin: 60,
      interpolated: false,
    });
  });

  it.each([
    ['2 h: interpolated', '10:00', { net: '50', bounds: [20, 80], coveredMin: 60 * 4, interpolated: true }],
    [
      'a minute over 2 h: not covered',
      '10:01',
      { net: '20', bounds: [20, null], coveredMin: 60 * 3, interpolated: false },
    ],
  ])('takes no part of a cut interval longer than the gap limit; %s', (_, end, expected) => {
    const last = end === '10:00' ? '13:00' : '13:01';
    const story = [...START, level('a', end, 60), level('b', last, 80)];
    expect(windowAt(story, 'b', 4)).toEqual(expected);
  });

  it('covers an interval longer than the gap limit that lies wholly inside', () => {
    const story = [...START, level('a', '12:00', 60)];
    expect(windowAt(story, 'a', 4)).toEqual({
      net: '60',
      bounds: [60, 60],
      coveredMin: 240,
      interpolated: false,
    });
  });

  it('spreads over the unclamped time of a cut interval', () => {
    // 60 mL in the 30 open minutes of 08:00 to 10:00, of which 08:00 to 08:15 lies before the edge at 09:00.
    const shut = [clamped('c', '08:15'), unclamped('u', '09:45')];
    expect(windowAt([...START, ...shut, level('a', '10:00', 60)], 'a', 1)).toMatchObject({
      net: '30',
      coveredMin: 60,
    });
    const shutFirst = [clamped('c', '08:00'), unclamped('u', '09:15')];
    expect(windowAt([...START, ...shutFirst, level('a', '10:00', 60)], 'a', 1)).toMatchObject({ net: '60' });
    const shutLast = [clamped('c', '09:00')];
    expect(windowAt([...START, ...shutLast, level('a', '10:00', 60)], 'a', 1)).toMatchObject({
      net: '0',
      bounds: [0, 60],
    });
  });

  it('spreads over all the time of an interval clamped throughout that drained nevertheless', () => {
    const story = [...START, clamped('c', '08:00'), level('a', '10:00', 60)];
    expect(windowAt(story, 'a', 1)).toMatchObject({ net: '30', coveredMin: 60 });
  });

  it.each([
    ['at its start: it follows the level there', '09:00', '-10'],
    ['inside', '09:30', '-10'],
    ['at its end: it precedes no level in it', '10:00', '10'],
    ['just before its start', '08:59', '10'],
  ])('takes what was instilled at its own moment, %s', (_, time, net) => {
    const story = [...START, level('a', '09:00', 30), instilled('in', time, 20), level('b', '10:00', 40)];
    expect(windowAt(story, 'b', 1)?.net).toBe(net);
  });

  it('adds what was sampled in it, also in a part that is not covered', () => {
    const story = [...START, sampled('s', '10:45', 7), level('a', '11:00', 30), level('b', '11:30', 40)];
    expect(windowAt(story, 'b', 1)).toEqual({
      net: '17',
      bounds: [17, null],
      coveredMin: 30,
      interpolated: false,
    });
  });

  it('does not cover an interval without an exact volume, and counts the lower bound of one inside', () => {
    const story = [
      ...START,
      level('a', '09:00', 30),
      changed('u', '09:30', null, 0),
      level('b', '10:00', 15),
    ];
    expect(windowAt(story, 'b', 4)).toEqual({
      net: '45',
      bounds: [45, null],
      coveredMin: 60,
      interpolated: false,
    });
  });

  it('counts neither a suspect rise nor the fall that contradicts it', () => {
    const story = [...START, level('a', '09:00', 200), level('b', '10:00', 250), level('c', '11:00', 210)];
    expect(windowAt(story, 'c', 4)).toEqual({
      net: '200',
      bounds: [200, null],
      coveredMin: 60,
      interpolated: false,
    });
    expect(windowAt(story, 'c', 1)).toBeNull();
  });

  it('runs over the elapsed hours of a changing clock (IANA tz database, Europe/Berlin)', () => {
    // 00:30 summer time to 02:30 standard time on 25 October 2026 are three hours, not two.
    const story = [
      placed('2026-10-24T00:00:00+02:00'),
      setUp('2026-10-25T00:30:00+02:00', 0),
      level('a', '2026-10-25T01:30:00+02:00', 10),
      level('b', '2026-10-25T02:30:00+02:00', 20),
      level('c', '2026-10-25T02:30:00+01:00', 30),
    ];
    expect(windowAt(story, 'c', 1)).toMatchObject({ net: '10', coveredMin: 60 });
    expect(windowAt(story, 'c', 4)).toMatchObject({ net: '30', coveredMin: 180 });
  });
});

describe('the fact of a window', () => {
  const factOf = (story: readonly Told[], key: string, hours: number) =>
    derivedFacts(rowOf(story, key)).find(({ name }) => name === `net-drainage-${hours}h`);

  const coverageOf = (story: readonly Told[], key: string, hours: number) =>
    factOf(story, key, hours)?.components.find(({ name }) => name === 'coverage')?.quantity;

  it('names its start and end, its parts, bounds and coverage', () => {
    const story = [...START, level('a', '10:00', 50), instilled('in', '10:00', 5), level('b', '11:00', 60)];
    expect(factOf(story, 'b', 1)).toMatchObject({
      effective: { from: at('10:00'), to: at('11:00') },
      value: { quantity: '5' },
      components: [
        { name: 'drained', quantity: '10' },
        { name: 'sampled', quantity: '0' },
        { name: 'instilled', quantity: '5' },
        { name: 'net-low', quantity: '5' },
        { name: 'net-high', quantity: '5' },
        { name: 'coverage', quantity: '1.000' },
        // JCGM 100:2008, 4.3.7: two levels read to 5 mL, k = 2.
        { name: 'uncertainty', quantity: '4.1' },
      ],
      flags: [],
    });
  });

  it('is a lower bound with its coverage, and rounds an interpolated value once to 1 decimal', () => {
    const story = [...START, level('a', '09:03', 20), level('b', '09:15', 25), level('c', '10:05', 30)];
    expect(factOf(story, 'c', 1)).toMatchObject({ value: { quantity: '9.2' }, flags: ['interpolated'] });
    expect(factOf(story, 'c', 4)).toMatchObject({
      value: { quantity: '30', at_least: true },
      flags: ['lower-bound'],
    });
    expect(coverageOf(story, 'c', 4)).toBe('0.520');
  });

  it('rounds its coverage down: only a window covered whole reads 1.000', () => {
    const story = [placed('08:00:30'), setUp('08:00:30', 0), level('a', '12:00', 30)];
    expect(coverageOf(story, 'a', 4)).toBe('0.997');
    const day = [placed('08:00:30'), setUp('08:00:30', 0), level('a', '+1 08:00', 30)];
    expect(factOf(day, 'a', 24)).toMatchObject({ value: { at_least: true } });
    expect(coverageOf(day, 'a', 24)).toBe('0.999');
  });
});
