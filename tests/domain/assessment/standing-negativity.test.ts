/** Until when the total negativity of a reading stands. Expectations: common practice, no source. */
import { describe, expect, it } from 'vitest';
import { standingNegativity } from '../../../src/domain/assessment/standing-negativity.ts';
import { underConditions } from '../../../src/domain/fold/conditions.ts';
import {
  changed,
  clamped,
  dec,
  level,
  placed,
  reading,
  rowsOf,
  says,
  setUp,
  type Told,
  voided,
  WET_UNIT,
  weighed,
} from '../../support/drain-script.ts';

function standing(story: readonly Told[]) {
  const found = standingNegativity(underConditions(rowsOf([...START, ...story])));
  if (found === null) return null;
  const { read, overtaken } = found;
  return [read.item.id, overtaken?.reason ?? null, overtaken?.by.item.id ?? null];
}

const START = [placed(), setUp('08:00', 0)];
const SEAL = { level_cmh2o: dec(4) };
const READ = {
  suction: { source: 'on', column_cmh2o: dec(15), bubbling: 'gentle' },
  seal: SEAL,
} as const;
const read = (key: string, time: string, ml?: number): Told =>
  reading(key, time, { ...READ, ...(ml === undefined ? {} : { level_ml: dec(ml) }) });
const suctionOff = says('off', '10:00', 'suction-changed', { source: 'off' });

describe('total negativity', () => {
  it.each<[string, Told[], ReturnType<typeof standing>]>([
    ['is not known while nothing that bears on it is charted', [level('a', '09:00', 50)], null],
    [
      'stands while what is charted later changes nothing of it',
      [read('a', '09:00'), level('b', '10:00', 50), weighed('w', '10:00', 70), clamped('c', '10:30')],
      ['a', null, null],
    ],
    [
      'of the old unit is not that of the new one',
      [read('a', '09:00', 50), changed('u', '10:00', 60, 0), level('b', '11:00', 20)],
      ['a', 'unit-attached-since', 'u'],
    ],
    [
      'of the new unit stands once it is read',
      [read('a', '09:00', 50), changed('u', '10:00', 60, 0), read('b', '10:30', 20)],
      ['b', null, null],
    ],
    [
      'read in the minute of the change is of the unit that its level is on: the new one',
      [read('a', '09:00', 1500), changed('u', '10:00', 1560, 0), read('b', '10:00', 0)],
      ['b', null, null],
    ],
    [
      'read in the minute of the change is of the unit that its level is on: the old one',
      [read('a', '09:00', 1500), changed('u', '10:00', 1560, 0), read('b', '10:00', 1560)],
      ['b', 'unit-attached-since', 'u'],
    ],
    [
      'a second set-up is a unit change',
      [read('a', '09:00', 50), setUp('10:00', 0, WET_UNIT, 'again')],
      ['a', 'unit-attached-since', 'again'],
    ],
    [
      'read in the minute of a second set-up is of the unit that its level is on: the old one',
      [read('a', '09:00', 1500), setUp('10:00', 0, WET_UNIT, 'again'), read('b', '10:00', 1560)],
      ['b', 'unit-attached-since', 'again'],
    ],
    [
      'read in the minute of a second set-up is of the unit that its level is on: the new one',
      [read('a', '09:00', 1500), setUp('10:00', 0, WET_UNIT, 'again'), read('b', '10:00', 0)],
      ['b', null, null],
    ],
    [
      'ends with suction that was changed',
      [read('a', '09:00'), suctionOff],
      ['a', 'suction-changed-since', 'off'],
    ],
    [
      'ends with water that was added',
      [read('a', '09:00'), says('s', '10:00', 'seal-adjusted', { chamber: 'seal', water: 'added' })],
      ['a', 'seal-adjusted-since', 's'],
    ],
    [
      'ends with a vent, in the same minute too: what is done then is done after the reading',
      [read('a', '09:00'), says('v', '09:00', 'negativity-vented', {})],
      ['a', 'negativity-vented-since', 'v'],
    ],
    [
      'of several changes the newest is named',
      [read('a', '09:00'), suctionOff, says('v', '11:00', 'negativity-vented', {})],
      ['a', 'negativity-vented-since', 'v'],
    ],
    [
      'stands again when the change is withdrawn',
      [read('a', '09:00'), suctionOff, voided('x', 'off')],
      ['a', null, null],
    ],
    [
      'stands when the change is of earlier, however late it comes',
      [read('a', '11:00'), suctionOff],
      ['a', null, null],
    ],
  ])('%s', (_, story, expected) => {
    expect(standing(story)).toEqual(expected);
  });
});
