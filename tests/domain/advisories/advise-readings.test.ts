/** Rules on what one entry shows: pressures. */
import { describe, expect, it } from 'vitest';
import { adviceOn, episodesIn, raisedValue, reasonsIn } from '../../support/advice.ts';
import { at, dec, placed, reading, says, setUp, type Told, WET_UNIT } from '../../support/drain-script.ts';

const DRY_UNIT = { ...WET_UNIT, id: 'dry', kind: 'dry-suction' as const };
const DEEP_SEAL = { ...WET_UNIT, id: 'deep', seal_reading_includes_fill: true };
const on = (unit = WET_UNIT): Told[] => [placed('08:00'), setUp('08:00', 0, unit)];
const suction = (key: string, time: string, column: number, seal: number, more: object = {}): Told =>
  reading(key, time, {
    suction: { source: 'on', column_cmh2o: dec(column), bubbling: 'gentle', ...more },
    seal: { level_cmh2o: dec(seal) },
  });
const values = (story: readonly Told[], rule: string) =>
  episodesIn(story, rule).map((each) => [each.raised.at_text, raisedValue(each), each.ended_at]);

describe('high negativity (> 20 cm H2O: common practice, no source)', () => {
  it.each([
    [19.999, []],
    [20, []],
    [20.001, [[at('09:00'), 20.001, null]]],
  ])('column %s on a still seal', (column, expected) => {
    expect(values([...on(), suction('a', '09:00', column, 0)], 'high-negativity')).toEqual(expected);
  });

  it('ends at the first reading that is not above it', () => {
    const story = [...on(), suction('a', '09:00', 20, 15), suction('b', '10:00', 20, 0)];
    expect(values(story, 'high-negativity')).toEqual([[at('09:00'), 35, at('10:00')]]);
  });

  it('shows the highest value of its episode, and of equal ones the first', () => {
    const story = [
      ...on(),
      suction('a', '09:00', 22, 0),
      suction('b', '10:00', 25, 0),
      suction('c', '11:00', 25, 0),
    ];
    expect(episodesIn(story, 'high-negativity')).toMatchObject([
      { raised: { at_text: at('09:00') }, peak: { at_text: at('10:00') }, newest: { at_text: at('11:00') } },
    ]);
  });

  it('is tested by the lower end of a range', () => {
    const swing = (low: number, high: number) =>
      reading('a', '09:00', {
        suction: { source: 'off' },
        seal: { swing_low_cmh2o: dec(low), swing_high_cmh2o: dec(high) },
      });
    expect(values([...on(), swing(21, 25)], 'high-negativity')).toEqual([[at('09:00'), 21, null]]);
    expect(values([...on(), swing(5, 20)], 'high-negativity')).toEqual([]);
    expect(reasonsIn([...on(), swing(5, 20)], 'high-negativity')).toEqual([]);
  });

  it('says so where only the upper end crosses: suction 20 not proven, seal 5, so 5 to 25', () => {
    const story = [...on(), suction('a', '09:00', 20, 5, { bubbling: 'none' })];
    expect(values(story, 'high-negativity')).toEqual([]);
    expect(reasonsIn(story, 'high-negativity')).toEqual(['only-upper-end-crosses']);
  });

  it('is not assessable where an end is not known', () => {
    const story = [
      ...on(),
      reading('a', '09:00', { suction: { source: 'on', column_cmh2o: dec(15), bubbling: 'gentle' } }),
    ];
    expect(reasonsIn(story, 'high-negativity')).toEqual(['seal-level-not-charted']);
  });
});

describe('imposed below ordered', () => {
  const RULE = 'imposed-below-ordered';
  const ordered = { ordered_cmh2o: dec(20) };

  it('column 17 where 20 is ordered: 3 cm below', () => {
    expect(values([...on(), suction('a', '09:00', 17, 0, ordered)], RULE)).toEqual([[at('09:00'), 3, null]]);
  });

  it.each([[20], [21]])('column %s where 20 is ordered is not below', (column) => {
    expect(values([...on(), suction('a', '09:00', column, 0, ordered)], RULE)).toEqual([]);
  });

  it('says how much water is lacking, of a wet unit only', () => {
    const water = (unit: typeof WET_UNIT, shown: object) => {
      const read = reading('a', '09:00', { suction: { source: 'on', ...shown, ...ordered } });
      return episodesIn([...on(unit), read], RULE)[0]?.raised.is_water;
    };
    expect(water(WET_UNIT, { column_cmh2o: dec(17) })).toBe(true);
    expect(water(DRY_UNIT, { dial_cmh2o: dec(17) })).toBe(false);
  });

  it('an order stands until another is charted, and what is below it ends with the next reading', () => {
    const story = [
      ...on(),
      says('order', '08:30', 'suction-changed', {
        source: 'on',
        ordered_cmh2o: dec(20),
        column_cmh2o: dec(20),
      }),
      suction('a', '09:00', 18, 0),
      suction('b', '10:00', 20, 0),
    ];
    expect(values(story, RULE)).toEqual([[at('09:00'), 2, at('10:00')]]);
  });

  it('is shown by a set-up and a change of suction as by a reading', () => {
    const shown = { source: 'on' as const, column_cmh2o: dec(17), ...ordered };
    const change = says('s', '09:00', 'suction-changed', shown);
    expect(values([...on(), change], RULE)).toEqual([[at('09:00'), 3, null]]);
    const up = setUp('08:00', 0) as Told & { says: object };
    const setUpWith = { key: 'up', time: '08:00', says: { ...up.says, suction: shown } } as Told;
    expect(values([placed('08:00'), setUpWith], RULE)).toEqual([[at('08:00'), 3, null]]);
  });

  it('a dry unit shows its dial', () => {
    const dial = reading('a', '09:00', { suction: { source: 'on', dial_cmh2o: dec(15), ...ordered } });
    expect(values([...on(DRY_UNIT), dial], RULE)).toEqual([[at('09:00'), 5, null]]);
  });

  it('does not hold while suction is off, nor on a unit that imposes none', () => {
    const off = reading('b', '10:00', { suction: { source: 'off' } });
    expect(values([...on(), suction('a', '09:00', 17, 0, ordered), off], RULE)).toEqual([
      [at('09:00'), 3, at('10:00')],
    ]);
    const gravity = { ...WET_UNIT, kind: 'gravity' as const };
    expect(adviceOn([...on(gravity), suction('a', '09:00', 17, 0, ordered)]).episodes).toEqual([]);
    expect(reasonsIn([...on(gravity), suction('a', '09:00', 17, 0, ordered)], RULE)).toEqual([]);
  });

  it.each([
    [{ source: 'on', ordered_cmh2o: dec(20) }, 'suction-not-charted'],
    [{ source: 'on', column_cmh2o: dec(20) }, 'ordered-suction-not-charted'],
    [{ column_cmh2o: dec(17), ordered_cmh2o: dec(20) }, 'suction-source-not-charted'],
  ] as const)('is not assessable with %o: %s', (shown, reason) => {
    expect(reasonsIn([...on(), reading('a', '09:00', { suction: shown })], RULE)).toEqual([reason]);
  });
});

describe('what is not assessable', () => {
  it('is listed by reason, with the first and the last reading of each', () => {
    const lacks = (key: string, time: string, shown: object) => reading(key, time, { suction: shown });
    const story = [
      ...on(),
      lacks('a', '09:00', { source: 'on', column_cmh2o: dec(20) }),
      lacks('b', '10:00', { source: 'on', ordered_cmh2o: dec(20) }),
      lacks('c', '11:00', { source: 'on', ordered_cmh2o: dec(20) }),
    ];
    const listed = adviceOn(story).not_assessable.filter(({ rule }) => rule.id === 'imposed-below-ordered');
    expect(listed.map(({ reason, seen, now }) => ({ reason, seen, now }))).toEqual([
      {
        reason: 'ordered-suction-not-charted',
        seen: { first_at: at('09:00'), last_at: at('09:00'), times: 1 },
        now: false,
      },
      {
        reason: 'suction-not-charted',
        seen: { first_at: at('10:00'), last_at: at('11:00'), times: 2 },
        now: true,
      },
    ]);
  });
});

describe('seal below its fill of 2 cm', () => {
  const RULE = 'seal-below-fill';
  const seal = (key: string, time: string, cm: number) =>
    reading(key, time, { seal: { level_cmh2o: dec(cm) } });

  it.each([
    [1.5, [[at('09:00'), 0.5, null]]],
    [2, []],
    [6, []],
  ])('level %s counted from the bottom', (cm, expected) => {
    expect(values([...on(DEEP_SEAL), seal('a', '09:00', cm)], RULE)).toEqual(expected);
  });

  it('says that the value is the depth of water to add', () => {
    expect(episodesIn([...on(DEEP_SEAL), seal('a', '09:00', 1.5)], RULE)).toMatchObject([
      { raised: { is_water: true } },
    ]);
  });

  it('does not hold for a unit that measures the pressure itself', () => {
    const electronic = { ...DEEP_SEAL, kind: 'electronic' as const };
    expect(values([...on(electronic), seal('a', '09:00', 1)], RULE)).toEqual([]);
  });

  it('a level counted from the fill line is at the line or above it', () => {
    expect(values([...on(), seal('a', '09:00', 0)], RULE)).toEqual([]);
  });

  it('a depth charted at set-up is counted from the bottom; water added to the seal ends it', () => {
    const { says: said } = setUp('08:00', 0, DEEP_SEAL) as Told & { says: object };
    const shallow = { key: 'set-up', time: '08:00', says: { ...said, seal_filled_cmh2o: dec(1) } } as Told;
    const filled = says('fill', '09:00', 'seal-adjusted', {
      chamber: 'seal',
      water: 'added',
      new_level_cmh2o: dec(2),
    });
    expect(values([placed('08:00'), shallow, filled], RULE)).toEqual([[at('08:00'), 1, at('09:00')]]);
    expect(episodesIn([placed('08:00'), shallow], RULE)[0]?.raised.is_water).toBe(true);
  });

  it.each([
    ['only-seal-swing-charted', DEEP_SEAL, { swing_low_cmh2o: dec(1), swing_high_cmh2o: dec(3) }],
    ['seal-fill-not-in-profile', { ...DEEP_SEAL, seal_fill_cmh2o: undefined }, { level_cmh2o: dec(1) }],
  ] as const)('is not assessable: %s', (reason, unit, charted) => {
    expect(
      reasonsIn([...on(unit as typeof WET_UNIT), reading('a', '09:00', { seal: charted })], RULE),
    ).toEqual([reason]);
  });
});
