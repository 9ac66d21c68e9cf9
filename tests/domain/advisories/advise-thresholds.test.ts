/** Each published threshold just under, exactly at and just over it, by the operator its source prints. */
import { describe, expect, it, test } from 'vitest';
import type { Rule } from '../../../src/domain/vocabulary/rule.ts';
import { DEFAULT_TABLE } from '../../../src/rules/default-table.ts';
import {
  crossedIn,
  episodesIn,
  HEART,
  hourly,
  raisedValue,
  ruleCalled,
  TRAUMA,
} from '../../support/advice.ts';
import { at, instilled, sampled, weighed } from '../../support/drain-script.ts';

const CHILD_HEART = { ...HEART, population: 'paediatric' };
const JUST = 0.1;

const times = (n: number, volume: number): number[] => Array.from({ length: n }, () => volume);

/**
 * Rule, whose drain, weight, hourly volumes at the threshold exactly. `short` is the one hour that goes under it.
 * A bare volume is in mL, a weight-indexed one is multiplied out in the comment.
 */
const AT_THRESHOLD: readonly (readonly [string, object, number | null, readonly number[], number])[] = [
  // ATLS 10th ed. 2018, by RCEM Learning: > 1500 mL at once; > 200 mL/h for 2-4 h.
  ['atls-at-once', TRAUMA, null, [1500], 0],
  ['atls-ongoing', TRAUMA, null, [200, 200], 1],
  // EAST, Mowery et al. 2011: 1500 mL in any 24 h.
  ['east-24h', TRAUMA, null, [...times(23, 60), 120], 23],
  // Michelson et al. 1980: > 300 mL in hour 1, > 250 in hour 2, > 150 mL/h after that.
  ['michelson-hour-1', HEART, null, [300], 0],
  ['michelson-hour-2', HEART, null, [10, 250], 1],
  ['michelson-later', HEART, null, [10, 10, 150], 2],
  // Christensen et al. 2012: >= 200 mL in any 1 h or >= 2 mL/kg/h (70 kg: 140 mL/h) for 2 consecutive h.
  ['christensen-1h', HEART, null, [10, 200], 1],
  ['christensen-2h', HEART, 70, [140, 140], 1],
  // Colson et al. 2016: > 1.5 mL/kg/h (70 kg: 105 mL/h) for 6 consecutive h.
  ['colson-6h', HEART, 70, times(6, 105), 5],
  // Universal definition, Dyke et al. 2014, limits from memory: 600 exactly is not above 600.
  ['udpb-mild', HEART, null, times(12, 50), 11],
  ['udpb-moderate', HEART, null, times(10, 80), 9],
  ['udpb-severe', HEART, null, times(10, 100), 9],
  ['udpb-massive', HEART, null, times(10, 200), 9],
  // Kirklin/Barratt-Boyes, from memory.
  ['kirklin-first-1h', HEART, null, [500], 0],
  ['kirklin-first-2h', HEART, null, [400, 400], 1],
  ['kirklin-first-3h', HEART, null, [300, 300, 300], 2],
  ['kirklin-total-4h', HEART, null, [250, 250, 250, 250], 3],
  ['kirklin-total-5h', HEART, null, times(5, 240), 4],
  // Bojar, from memory.
  ['bojar-1h', HEART, null, [400], 0],
  ['bojar-2h', HEART, null, [300, 300], 1],
  ['bojar-4h', HEART, null, times(4, 200), 3],
  // Wong's: > 3 mL/kg/h (10 kg: 30 mL/h) for more than 3 consecutive h; 5-10 mL/kg (50 mL) in any 1 h.
  ['wong-consecutive', CHILD_HEART, 10, times(4, 30), 3],
  ['wong-1h', CHILD_HEART, 10, [50], 0],
  // Agarwal et al. 2015: 10 mL/kg/h (5 kg: 50 mL/h) for 1 h, 5 mL/kg/h (25 mL/h) for 3 consecutive h.
  ['agarwal-1h', CHILD_HEART, 5, [50], 0],
  ['agarwal-3h', CHILD_HEART, 5, [25, 25, 25], 2],
  // Bercovitz et al. 2018: >= 7 mL/kg/h (4 kg: 28 mL/h) for >= 2 h; >= 84 mL/kg (336 mL) in 24 h.
  ['bercovitz-2h', CHILD_HEART, 4, [28, 28], 1],
  ['bercovitz-24h', CHILD_HEART, 4, times(24, 14), 23],
];

const storyOf = (facts: object, kg: number | null, volumes: readonly number[]) =>
  hourly(volumes, facts, kg === null ? [] : [weighed('weight', '08:00', kg)]);

describe.each(AT_THRESHOLD)('%s', (rule, facts, kg, volumes, short) => {
  it('is not crossed just under it', () => {
    const under = volumes.map((volume, n) => (n === short ? volume - JUST : volume));
    expect(crossedIn(storyOf(facts, kg, under), rule)).toBeNull();
  });
  it('is crossed just over it', () => {
    const over = volumes.map((volume) => volume + JUST);
    expect(crossedIn(storyOf(facts, kg, over), rule)).toBe(true);
  });
  it('goes by its operator at it, and says that reading error leaves it open', () => {
    const story = storyOf(facts, kg, volumes);
    expect(crossedIn(story, rule)).toBe(ruleCalled(rule).operator === '>=');
    expect(episodesIn(story, rule)[0]?.peak.within_uncertainty).toBe(true);
  });
});

test('every volume and rate of the table has its case here or below', () => {
  const covered = new Set(AT_THRESHOLD.map(([rule]) => rule));
  const rules = DEFAULT_TABLE.rules.filter(({ quantity }) => quantity === 'volume' || quantity === 'rate');
  expect(rules.map(({ id }) => id).filter((id) => !covered.has(id))).toEqual(['aci-nsw-blood']);
});

test('operators are those that the sources print', () => {
  const or = DEFAULT_TABLE.rules.filter(({ operator }) => operator === '>=').map(({ id }) => id);
  expect(or).toEqual([
    'east-24h',
    'christensen-1h',
    'christensen-2h',
    'wong-1h',
    'agarwal-1h',
    'agarwal-3h',
    'bercovitz-2h',
    'bercovitz-24h',
    'three-quarters-full',
  ]);
});

test('rows from memory are off, and the one whose figures local policy has to set; all others are on', () => {
  const isOff = ({ id, evidence }: Rule) => evidence === 'from memory' || id === 'output-stopping';
  for (const rule of DEFAULT_TABLE.rules) expect(rule.on, rule.id).toBe(!isOff(rule));
});

describe('bleeding-rule series of the sources', () => {
  const MICHELSON = ['michelson-hour-1', 'michelson-hour-2', 'michelson-later'];
  const KIRKLIN = ['kirklin-first-1h', 'kirklin-first-2h', 'kirklin-first-3h', 'kirklin-total-4h'];

  it('320, 260, 160 mL meets Michelson 1980 at hours 1, 2 and 3, and none of Kirklin', () => {
    const story = hourly([320, 260, 160], HEART);
    const raised = MICHELSON.map((rule) => episodesIn(story, rule).map((each) => each.raised.at_text));
    expect(raised).toEqual([[at('09:00')], [at('10:00')], [at('11:00')]]);
    expect(KIRKLIN.flatMap((rule) => episodesIn(story, rule))).toEqual([]);
  });

  it('300, 250, 150 mL exactly meets none of Michelson 1980, whose operator is >', () => {
    expect(MICHELSON.map((rule) => crossedIn(hourly([300, 250, 150], HEART), rule))).toEqual([
      false,
      false,
      false,
    ]);
  });

  it('90, 140, 205, 150 mL at 70 kg: only hour 3 is >= 200, and 2 mL/kg/h is met by hours 2-3 and 3-4', () => {
    const story = storyOf(HEART, 70, [90, 140, 205, 150]);
    expect(episodesIn(story, 'christensen-1h')).toMatchObject([
      { raised: { at_text: at('11:00') }, ended_at: at('12:00') },
    ]);
    const [rate, ...others] = episodesIn(story, 'christensen-2h');
    expect(others).toEqual([]);
    expect(rate).toMatchObject({
      raised: { at_text: at('11:00'), crossed: true },
      peak: { at_text: at('12:00') },
      newest: { at_text: at('12:00') },
      ended_at: null,
    });
    // The least of the hours decides: 140 mL / 70 kg.
    expect(rate === undefined ? null : raisedValue(rate)).toBe(2);
  });
});

describe('what was instilled', () => {
  const flush = (volume: number) => hourly([320], HEART, [instilled('flush', '08:10', volume)]);

  it('hides a bleed from net alone: drained + sampled raises, and what was instilled is shown', () => {
    const [found] = episodesIn(flush(100), 'michelson-hour-1');
    expect(found?.raised).toMatchObject({ by: 'gross-only', crossed: true, instilled: 100_000 });
    expect(found?.raised.entries).toEqual(['flush', 'h1', 'set-up']);
  });

  it('leaves net over it too where it is little', () => {
    expect(episodesIn(flush(10), 'michelson-hour-1')[0]?.raised.by).toBe('net-and-gross');
  });

  it('and sampled: what was taken before the chamber counts', () => {
    const story = hourly([290], HEART, [sampled('sample', '08:10', 20)]);
    expect(crossedIn(story, 'michelson-hour-1')).toBe(true);
  });
});
