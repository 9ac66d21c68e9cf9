import { describe, expect, it } from 'vitest';
import {
  changed,
  dec,
  intervalAt,
  level,
  ml,
  placed,
  reading,
  rebased,
  rowOf,
  rowsOf,
  setUp,
  type Told,
  WET_UNIT,
} from '../../support/drain-script.ts';
import { SMALL_UNIT } from '../../support/statements.ts';

const START: readonly Told[] = [placed(), setUp('08:00', 0), level('a', '10:00', 1840)];
const NEXT = level('b', '12:00', 95);
const marksOf = (story: readonly Told[], key: string) => rowOf(story, key).marks;

describe('a reading at the minute of a unit change (common practice, no source; graduation 5 mL)', () => {
  const at = (reading: number, closing: number | null, opening: number | null): readonly Told[] => [
    ...START,
    level('tie', '11:00', reading),
    changed('change', '11:00', closing, opening),
    NEXT,
  ];
  /** Drained to the end of the old run, and after it; whether the reading was left out. */
  const parts = (story: readonly Told[]) => {
    const old = ['tie', 'change']
      .map((key) => intervalAt(story, key)?.drained ?? null)
      .find((ml) => ml !== null);
    return [old ?? null, intervalAt(story, 'b')?.drained, marksOf(story, 'tie')];
  };

  it.each([
    ['the closing level itself', 1980, 1980, 0, [140, 95, []]],
    ['one graduation under it: the higher counts', 1975, 1980, 0, [140, 95, []]],
    ['one graduation over it: the higher counts', 1985, 1980, 0, [145, 95, []]],
    ['the opening level itself', 0, 1980, 0, [140, 95, []]],
    ['one graduation over it: the higher counts', 5, 1980, 0, [140, 90, []]],
    ['two graduations from either', 10, 1980, 0, [140, 95, ['level-of-neither-run']]],
    ['two graduations under the closing level', 1970, 1980, 0, [140, 95, ['level-of-neither-run']]],
    ['far from both', 900, 1980, 0, [140, 95, ['level-of-neither-run']]],
    ['near the closing level, no opening stated', 1980, 1980, null, [140, null, []]],
    ['near zero, no opening stated', 0, 1980, null, [140, null, ['level-of-neither-run']]],
    ['no closing level: it goes on from the old run and closes it', 1900, null, 0, [60, 95, []]],
    ['no closing level: within one graduation under the old run', 1835, null, 0, [0, 95, []]],
    ['no closing level: it is near the opening level', 5, null, 0, [null, 90, []]],
    ['no closing level: near neither', 900, null, 0, [null, 95, ['level-of-neither-run']]],
  ])('%s', (_, tie, closing, opening, expected) => {
    expect(parts(at(tie, closing, opening))).toEqual(expected);
  });

  it('is the previous reading of the row after it, on whichever run it lies', () => {
    const since = (story: readonly Told[]) => ml(rowOf(story, 'b').volumes?.since_reading.drained);
    expect(since(at(900, 1980, 0))).toBe(235);
    expect(since(at(1980, 1980, 0))).toBe(95);
    expect(since(at(0, 1980, 0))).toBe(95);
    expect(since(at(1900, null, 0))).toBe(95);
  });

  it('does not depend on which of the two arrived first', () => {
    const story = at(1985, 1980, 0);
    const [placed, setUp, a, tie, change, b] = story;
    const other = [placed, setUp, b, change, a, tie].flatMap((told) => told ?? []);
    expect(parts(other)).toEqual(parts(story));
  });

  it('is judged by the unit on whose scale its level is', () => {
    const seal = { seal: { level_cmh2o: dec(6) }, suction: { source: 'off' as const } };
    const story = (levelMl: number) => [
      ...START,
      reading('tie', '11:00', { level_ml: dec(levelMl), air_leak: { grade: dec(6) }, ...seal }),
      changed('change', '11:00', 1980, 0, SMALL_UNIT),
    ];
    // The old unit's seal is read from its fill line and has 7 leak columns; the new one's includes 2 cm and has 5.
    expect(rowOf(story(1980), 'tie')).toMatchObject({ negativity: { value: 6000 }, marks: [] });
    expect(rowOf(story(0), 'tie')).toMatchObject({
      negativity: { value: 4000 },
      marks: ['beyond-leak-scale'],
    });
    // Of two readings of that minute each by its own.
    const both = [...story(1980), level('other', '11:00', 0)];
    expect(rowOf(both, 'tie')).toMatchObject({ negativity: { value: 6000 }, marks: [] });
  });
});

describe('a reading at the minute of a change between units of which no level is known', () => {
  it('is of neither run: nothing says on which scale it was read', () => {
    const story = [
      ...START,
      changed('first', '11:00', null, null),
      level('tie', '12:00', 60),
      changed('second', '12:00', null, null),
    ];
    expect(marksOf(story, 'tie')).toEqual(['level-of-neither-run']);
  });
});

describe('a reading at the minute of a set-up', () => {
  it.each([
    ['first set-up, opening stated', 0, 5, [45, []]],
    ['first set-up, opening stated, reading far from it', 0, 40, [50, ['level-of-neither-run']]],
    ['first set-up without opening: the reading is the baseline', null, 40, [10, []]],
    ['first set-up, the reading is above the capacity', null, 2500, [null, ['above-capacity']]],
  ])('%s', (_, opening, tie, expected) => {
    const story = [placed(), level('tie', '08:00', tie), setUp('08:00', opening), level('b', '09:00', 50)];
    expect([intervalAt(story, 'b')?.drained ?? null, marksOf(story, 'tie')]).toEqual(expected);
  });

  it('closes the old unit at a second set-up if it goes on from it', () => {
    const story = [...START, level('tie', '11:00', 1900), setUp('11:00', 0, WET_UNIT, 'second'), NEXT];
    expect(intervalAt(story, 'tie')).toEqual({ status: 'measured', drained: 60, net: 60 });
    expect(intervalAt(story, 'b')).toEqual({ status: 'measured', drained: 95, net: 95 });
  });

  it.each([
    ['before a second set-up, on the old unit', 1900, ['tie', 'second']],
    ['after it, on the new one', 5, ['second', 'tie']],
  ])('stands %s', (_, tie, order) => {
    const story = [...START, level('tie', '11:00', tie), setUp('11:00', 0, WET_UNIT, 'second')];
    expect(
      rowsOf(story)
        .slice(-2)
        .map(({ item }) => item.id),
    ).toEqual(order);
  });
});

describe('a reading at the minute of a re-based level', () => {
  it.each([
    // Equal levels: the reading carries the interval, as it does in any other minute.
    ['at the last trusted level', 1900, 'tie'],
    ['near the last trusted level', 1895, 'tip'],
    ['near the new level', 120, 'tip'],
  ])('%s', (_, tie, ends) => {
    const story = [
      ...START,
      level('tie', '11:00', tie),
      rebased('tip', '11:00', 1900, 120),
      level('b', '12:00', 120),
    ];
    expect([intervalAt(story, ends)?.drained, intervalAt(story, 'b')?.drained]).toEqual([60, 0]);
    expect(marksOf(story, 'tie')).toEqual([]);
    expect([rowOf(story, 'tie').leftOut, rowOf(story, 'tip').leftOut]).toEqual([[], []]);
  });

  it.each([
    ['the new level itself', 50, []],
    ['any other: no graduation is known', 51, ['level-of-neither-run']],
  ])('where no unit is known is of the new scale at %s', (_, tie, marks) => {
    const story = [
      ...[placed(), level('a', '09:00', 100), level('tie', '10:00', tie)],
      rebased('tip', '10:00', 100, 50),
    ];
    expect(marksOf(story, 'tie')).toEqual(marks);
  });
});

describe('several levels of one run at one minute (graduation 5 mL)', () => {
  const twice = (one: number, other: number) => [
    ...START,
    level('x', '11:00', one),
    level('y', '11:00', other),
  ];

  it.each([
    ['the same', 1900, 1900],
    ['one graduation apart, lower first', 1895, 1900],
    ['one graduation apart, higher first', 1900, 1895],
  ])('agree when %s: the highest counts, once', (_, one, other) => {
    const story = twice(one, other);
    const drained = ['x', 'y'].flatMap((key) => intervalAt(story, key)?.drained ?? []);
    expect(drained).toEqual([60]);
    expect([...marksOf(story, 'x'), ...marksOf(story, 'y')]).not.toContain('conflicting-levels');
  });

  it('do not make up for one that the chamber cannot show', () => {
    const story = twice(2005, 1900);
    expect([rowOf(story, 'x').leftOut, rowOf(story, 'y').leftOut]).toEqual([['level'], []]);
    expect(intervalAt(story, 'y')?.drained).toBe(60);
  });

  it('conflict when further apart: none counts, both are marked, and the next level goes on from before', () => {
    const story = [...twice(1900, 1880), level('b', '12:00', 1920)];
    expect([intervalAt(story, 'x'), intervalAt(story, 'y')]).toEqual([null, null]);
    expect(marksOf(story, 'x')).toEqual(['conflicting-levels']);
    expect(marksOf(story, 'y')).toEqual(['conflicting-levels']);
    expect(intervalAt(story, 'b')).toEqual({ status: 'measured', drained: 80, net: 80 });
  });
});
