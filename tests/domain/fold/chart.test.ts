/** What a chart answers of a moment, and how much of it a change folds again. */
import { describe, expect, it } from 'vitest';
import {
  type Change,
  EMPTY_CHART,
  encounterAt,
  foldAll,
  newestAt,
  refold,
  rowsAt,
  rowsFrom,
} from '../../../src/domain/fold/chart.ts';
import type { Row } from '../../../src/domain/fold/row.ts';
import { epochMs } from '../../../src/domain/numbers/units.ts';
import {
  at,
  bookOf,
  changed,
  level,
  placed,
  rowOf,
  says,
  setUp,
  type Told,
} from '../../support/drain-script.ts';

const moment = (time: string) => epochMs(Date.parse(at(time)));
const justAfter = (time: string) => epochMs(moment(time) + 1);
const ids = (rows: readonly Row[]) => rows.map(({ item }) => item.id);
const suspects = (rows: readonly Row[]) =>
  ids(rows.filter(({ volumes }) => volumes?.interval.suspect === true));

describe('the rows of a moment', () => {
  const { chart } = bookOf([placed(), setUp('08:00', 0), level('a', '09:00', 10), level('b', '10:00', 20)]);

  it.each([
    ['before anything was charted', '07:59', []],
    ['all that was charted then', '08:00', ['placed', 'set-up']],
    ['none between two readings', '09:30', []],
    ['the newest', '10:00', ['b']],
    ['none after it', '10:01', []],
  ])('are %s', (_, time, expected) => {
    expect(ids(rowsAt(chart, moment(time)))).toEqual(expected);
  });

  it('are none of a drain of which nothing is charted, which has no newest statement either', () => {
    expect(rowsAt(EMPTY_CHART, moment('08:00'))).toEqual([]);
    expect(newestAt(EMPTY_CHART)).toBeNull();
    expect(newestAt(chart)).toBe(moment('10:00'));
  });
});

describe('the encounter of a moment', () => {
  const visit = (n: number) => ({ encounter: { reference: `Encounter/${n}` } });
  const moved = (key: string, n: number) => says(key, '10:00', 'drain-updated', visit(n));
  const { chart } = bookOf([
    placed('08:00', visit(1)),
    level('a', '09:00', 10),
    moved('u1', 2),
    moved('u2', 3),
    moved('u3', 4),
  ]);

  it.each([
    ['none before it is known', '07:59', null],
    ['the first from the placement on', '08:00', 'Encounter/1'],
    ['still that until the next', '09:59', 'Encounter/1'],
    ['the last of those charted at one minute', '10:00', 'Encounter/4'],
    ['and that from then on', '12:00', 'Encounter/4'],
  ])('is %s', (_, time, expected) => {
    expect(encounterAt(chart, moment(time))?.reference ?? null).toBe(expected);
  });

  it('is none where none was stated, or the drain is not there', () => {
    expect(encounterAt(bookOf([placed()]).chart, moment('09:00'))).toBeNull();
    expect(encounterAt(undefined, moment('09:00'))).toBeNull();
  });
});

describe('a change', () => {
  const READ: readonly Told[] = [
    placed(),
    setUp('08:00', 0),
    level('a', '09:00', 100),
    level('b', '10:00', 120),
  ];
  const FALL = level('c', '11:00', 20);

  /** What is folded again when the drain of a story is told of a change, held to all of it folded anew. */
  const changing = (
    story: readonly Told[],
    remove: readonly string[],
    add: readonly Told[],
    since?: string,
  ) => {
    const { chart, circumstances } = bookOf(story);
    const change: Change = {
      remove: remove.map((key) => rowOf(story, key).item),
      add: add.map((told) => rowOf([...story, told], told.key).item),
      since: since === undefined ? undefined : moment(since),
    };
    const refolded = refold(chart, change, circumstances);
    const stay = rowsFrom(chart, epochMs(-Infinity)).map(({ item }) => item);
    const items = [...stay.filter(({ id }) => !remove.includes(id)), ...change.add];
    expect(refolded.chart).toEqual(foldAll(items, circumstances));
    return refolded;
  };

  it('that comes in order folds itself alone', () => {
    const { since, before, after: now } = changing(READ, [], [level('x', '11:00', 130)]);
    expect([since, ids(before), ids(now)]).toEqual([justAfter('10:00'), [], ['x']]);
  });

  it('at a moment that is charted folds that moment again', () => {
    const { since, before, after: now } = changing(READ, [], [level('x', '10:00', 120)]);
    expect([since, ids(before), ids(now)]).toEqual([justAfter('09:00'), ['b'], ['b', 'x']]);
  });

  it('that comes late folds what follows it again', () => {
    const { since, before, after: now } = changing(READ, [], [level('x', '09:30', 110)]);
    expect([since, ids(before), ids(now)]).toEqual([justAfter('09:00'), ['b'], ['x', 'b']]);
  });

  it('of the earliest statement folds all of it', () => {
    const { since, before, after: now } = changing(READ, ['placed'], []);
    expect([since, ids(before), ids(now)]).toEqual([
      -Infinity,
      ['placed', 'set-up', 'a', 'b'],
      ['set-up', 'a', 'b'],
    ]);
  });

  it('takes a statement away', () => {
    const { since, before, after: now } = changing(READ, ['b'], []);
    expect([since, ids(before), ids(now)]).toEqual([justAfter('09:00'), ['b'], []]);
  });

  it('of circumstances folds from their time on, though no statement is another', () => {
    const { since, before, after: now } = changing(READ, [], [], '09:30');
    expect([since, ids(before), ids(now)]).toEqual([justAfter('09:00'), ['b'], ['b']]);
  });

  it('folds from whichever is earlier, the statement or the circumstances', () => {
    expect(changing(READ, [], [level('x', '11:00', 130)], '09:30').since).toBe(justAfter('09:00'));
    expect(changing(READ, [], [level('x', '09:30', 110)], '10:00').since).toBe(justAfter('09:00'));
  });

  it('that is a fall nothing explains reaches back to the rise that it casts doubt on', () => {
    const { since, before, after: now } = changing(READ, [], [FALL]);
    expect([since, ids(before), ids(now)]).toEqual([moment('10:00'), ['b'], ['b', 'c']]);
    expect([suspects(before), suspects(now)]).toEqual([[], ['b']]);
  });

  it.each<[string, readonly string[], readonly Told[]]>([
    ['a late unit change explains it', [], [changed('u', '10:30', 130, 0)]],
    ['it is mended', ['c'], [level('x', '11:00', 130)]],
    ['it is withdrawn', ['c'], []],
  ])('takes the doubt off the rise again once %s', (_, remove, add) => {
    const { since, before, after: now } = changing([...READ, FALL], remove, add);
    expect(since).toBe(justAfter('09:00'));
    expect([suspects(before), suspects(now)]).toEqual([['b'], []]);
  });

  it('after the fall leaves the rise in doubt, and is not folded with it', () => {
    const { since, before, after: now } = changing([...READ, FALL], [], [level('x', '12:00', 40)]);
    expect([since, ids(before), ids(now)]).toEqual([justAfter('11:00'), [], ['x']]);
  });

  it('that takes away the second of two falls leaves the first and its doubt', () => {
    const twice = [...READ, FALL, level('d', '12:00', 90), level('e', '13:00', 30)];
    expect(suspects(rowsFrom(bookOf(twice).chart, moment('08:00')))).toEqual(['b', 'd']);
    const { since, chart } = changing(twice, ['e'], []);
    expect(since).toBe(justAfter('11:00'));
    expect(suspects(rowsFrom(chart, moment('08:00')))).toEqual(['b']);
  });

  it('that takes everything away leaves an empty chart', () => {
    expect(changing([placed()], ['placed'], []).chart).toEqual(EMPTY_CHART);
  });
});
