/** Rules on the level of the chamber: how full it is, and a level that fell. */
import { describe, expect, it } from 'vitest';
import { episodesIn, FINE_UNIT, raisedValue, reasonsIn } from '../../support/advice.ts';
import {
  at,
  changed,
  corrected,
  dec,
  level,
  placed,
  says,
  setUp,
  type Told,
  WET_UNIT,
} from '../../support/drain-script.ts';

const on = (unit = WET_UNIT): Told[] => [placed('08:00'), setUp('08:00', 0, unit)];
const values = (story: readonly Told[], rule: string) =>
  episodesIn(story, rule).map((each) => [each.raised.at_text, raisedValue(each), each.ended_at]);

describe('chamber three quarters full (>= 0.75 of its capacity)', () => {
  const RULE = 'three-quarters-full';
  const small = { ...FINE_UNIT, capacity_ml: dec(2000) };

  it.each([
    [1499.9, []],
    [1500, [[at('09:00'), 0.75, null]]],
    [1500.1, [[at('09:00'), 0.75005, null]]],
  ])('level %s of 2000', (ml, expected) => {
    expect(values([...on(small), level('a', '09:00', ml)], RULE)).toEqual(expected);
  });

  it('marks what reading error leaves open: U = 2 x 5 / sqrt(12) = 2.89 mL', () => {
    const found = (ml: number) => episodesIn([...on(), level('a', '09:00', ml)], RULE)[0]?.raised;
    expect(found(1495)).toBeUndefined();
    expect(found(1498)).toMatchObject({ crossed: false, within_uncertainty: true });
    expect(found(1505)).toMatchObject({ crossed: true, within_uncertainty: false });
  });

  it('does not go by a level that a mark leaves out', () => {
    const story = [...on(), level('a', '09:00', 2100)];
    expect(values(story, RULE)).toEqual([]);
  });

  it('ends with a new unit', () => {
    const story = [...on(), level('a', '09:00', 1600), changed('new', '10:00', 1650, 0)];
    expect(values(story, RULE)).toEqual([[at('09:00'), 0.8, at('10:00')]]);
  });

  it('ends with a second set-up, and with the last reading of the old unit in its minute', () => {
    const again = setUp('10:00', 0, WET_UNIT, 'again');
    const story = [...on(), level('a', '09:00', 1600), again, level('b', '10:00', 1650)];
    expect(values(story, RULE)).toEqual([[at('09:00'), 0.8, at('10:00')]]);
  });

  it('is not known while a new unit has no level', () => {
    const story = [...on(), level('a', '09:00', 1600), changed('new', '10:00', 1650, null)];
    expect(reasonsIn(story, RULE)).toEqual(['opening-level-not-stated']);
  });
});

describe('unexplained fall', () => {
  const RULE = 'unexplained-fall';
  const story = [
    ...on(),
    level('a', '09:00', 300),
    level('b', '10:00', 100),
    level('c', '11:00', 120),
    level('d', '12:00', 20),
  ];

  it('stands, each by itself, with the levels that show it', () => {
    expect(episodesIn(story, RULE)).toMatchObject([
      { raised: { at_text: at('10:00'), entries: ['a', 'b'], value: null }, ended_at: null },
      { raised: { at_text: at('12:00'), entries: ['c', 'd'] }, ended_at: null },
    ]);
  });

  it('ends when the drain is out', () => {
    const out = [...story.slice(0, 4), says('out', '10:30', 'removed', {})];
    expect(episodesIn(out, RULE)).toMatchObject([{ ended_at: at('10:30') }]);
  });

  it('is gone when a late unit change or a correction explains it', () => {
    const once = story.slice(0, 4);
    expect(episodesIn([...once, changed('late', '09:30', 310, 50)], RULE)).toEqual([]);
    expect(episodesIn([...once, corrected('fix', 'a', level('a', '09:00', 90))], RULE)).toEqual([]);
  });

  it('within one graduation is none', () => {
    expect(episodesIn([...on(), level('a', '09:00', 300), level('b', '10:00', 295)], RULE)).toEqual([]);
  });
});
