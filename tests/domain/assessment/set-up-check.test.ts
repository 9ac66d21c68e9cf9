/** What of the set-up of the unit in use was charted as done. */
import { describe, expect, it } from 'vitest';
import { setUpCheck } from '../../../src/domain/assessment/set-up-check.ts';
import { underConditions } from '../../../src/domain/fold/conditions.ts';
import type { SetUp, Suction } from '../../../src/domain/vocabulary/entry.ts';
import type { UnitKind, UnitProfile } from '../../../src/domain/vocabulary/unit-profile.ts';
import {
  changed,
  dec,
  placed,
  reading,
  rowsOf,
  says,
  setUp,
  type Told,
  WET_UNIT,
} from '../../support/drain-script.ts';

const DRY_UNIT: UnitProfile = { ...WET_UNIT, id: 'dry-2000', kind: 'dry-suction' };
const FROM_ZERO: UnitProfile = { ...WET_UNIT, id: 'wet-zero', seal_reading_includes_fill: true };

const checkOf = (story: readonly Told[]) => {
  const check = setUpCheck(underConditions(rowsOf([placed(), ...story])));
  if (check === null) return null;
  const item = (name: 'seal_filled' | 'suction_proven' | 'connections_checked') => {
    const { status, row } = check[name];
    return row === null ? status : `${status} by ${row.item.id}`;
  };
  return {
    unit: check.unit.item.id,
    seal: item('seal_filled'),
    suction: item('suction_proven'),
    connections: item('connections_checked'),
  };
};

const up = (more: Partial<SetUp> = {}, profile = WET_UNIT): Told =>
  says('up', '08:00', 'set-up', {
    profile: profile.id,
    unit_profile: profile,
    opening_level_ml: dec(0),
    ...more,
  });
const seal = (key: string, time: string, level: number) =>
  reading(key, time, { seal: { level_cmh2o: dec(level) } });
const refilled = (key: string, time: string, level: number | null, chamber: 'seal' | 'suction' = 'seal') =>
  says(key, time, 'seal-adjusted', {
    chamber,
    water: 'added',
    ...(level === null ? {} : { new_level_cmh2o: dec(level) }),
  });

describe('the seal is filled', () => {
  it.each<[string, Told[], string]>([
    ['to the depth of the profile', [up({ seal_filled_cmh2o: dec(2) })], 'done by up'],
    ['not to less', [up({ seal_filled_cmh2o: dec('1.9') })], 'missing by up'],
    ['not while nothing was charted', [up()], 'missing'],
    ['by a seal level from the fill line', [up(), seal('a', '09:00', 0)], 'done by a'],
    [
      'by a seal level from zero that reaches the fill',
      [up({}, FROM_ZERO), seal('a', '09:00', 2)],
      'done by a',
    ],
    ['not by one below it', [up({}, FROM_ZERO), seal('a', '09:00', 1)], 'missing by a'],
    [
      'as the newest shows: water that evaporated is missing',
      [up({ seal_filled_cmh2o: dec(2) }, FROM_ZERO), seal('a', '09:00', 1)],
      'missing by a',
    ],
    [
      'and topped up again',
      [up({}, FROM_ZERO), seal('a', '09:00', 1), refilled('b', '09:30', 2)],
      'done by b',
    ],
    ['not by water whose level nobody read', [up({}, FROM_ZERO), refilled('b', '09:30', null)], 'missing'],
    [
      'not by water in the suction chamber',
      [up({}, FROM_ZERO), refilled('b', '09:30', 20, 'suction')],
      'missing',
    ],
    ['not on the unit before', [up({ seal_filled_cmh2o: dec(2) }), changed('u', '10:00', 0, 0)], 'missing'],
    ['on the unit in use', [up(), changed('u', '10:00', 0, 0), seal('a', '10:05', 0)], 'done by a'],
    ['in no electronic unit', [up({}, { ...WET_UNIT, kind: 'electronic' })], 'not-applicable'],
    ['in a gravity unit too', [up({}, { ...WET_UNIT, kind: 'gravity' })], 'missing'],
  ])('%s', (_, story, expected) => {
    expect(checkOf(story)?.seal).toBe(expected);
  });

  it('to any depth where the profile states none', () => {
    const { seal_fill_cmh2o: _none, ...plain } = WET_UNIT;
    expect(checkOf([up({ seal_filled_cmh2o: dec(1) }, plain)])?.seal).toBe('done by up');
    expect(checkOf([up({ seal_filled_cmh2o: dec(0) }, plain)])?.seal).toBe('missing by up');
  });
});

describe('suction is proven', () => {
  const wet: Suction = { source: 'on', column_cmh2o: dec(20), ordered_cmh2o: dec(20), bubbling: 'gentle' };
  const dry: Suction = { source: 'on', dial_cmh2o: dec(20), ordered_cmh2o: dec(20), indicator: 'in-range' };
  const on = { source: 'on' as const };
  const { bubbling: _bubbling, ...silent } = wet;
  const { column_cmh2o: _column, ...blind } = wet;

  it.each<[string, Told[], string]>([
    ['wet: by bubbling with a column', [up({ suction: wet })], 'done by up'],
    ['wet: not by a column alone', [up({ suction: silent })], 'missing'],
    ['wet: not by bubbling alone', [up({ suction: blind })], 'missing by up'],
    ['wet: not without bubbling', [up({ suction: { ...wet, bubbling: 'none' } })], 'missing by up'],
    ['wet: not by an indicator', [up({ suction: { ...silent, indicator: 'in-range' } })], 'missing'],
    [
      'wet: by a reading after it, the column as set',
      [up({ suction: silent }), reading('a', '08:10', { suction: { bubbling: 'vigorous' } })],
      'done by a',
    ],
    [
      'wet: no longer, once it stops',
      [up({ suction: wet }), reading('a', '09:00', { suction: { bubbling: 'none' } })],
      'missing by a',
    ],
    ['dry: by the indicator with a dial', [up({ suction: dry }, DRY_UNIT)], 'done by up'],
    ['dry: not by bubbling with a column', [up({ suction: wet }, DRY_UNIT)], 'missing'],
    [
      'dry: not out of range',
      [up({ suction: { ...dry, indicator: 'out-of-range' } }, DRY_UNIT)],
      'missing by up',
    ],
    [
      'dry: not by an indicator nobody assessed',
      [up({ suction: { ...dry, indicator: 'not-assessed' } }, DRY_UNIT)],
      'missing',
    ],
    [
      'anew after a change of suction',
      [up({ suction: dry }, DRY_UNIT), says('s', '09:00', 'suction-changed', { ...on, dial_cmh2o: dec(10) })],
      'missing by s',
    ],
    [
      'by a reading after the change',
      [
        up({}, DRY_UNIT),
        says('s', '09:00', 'suction-changed', { ...on, dial_cmh2o: dec(10) }),
        reading('a', '09:01', { suction: { indicator: 'in-range' } }),
      ],
      'done by a',
    ],
    ['not on the unit before', [up({ suction: wet }), changed('u', '10:00', 0, 0)], 'missing'],
    [
      'not where it is ordered and found off',
      [up({ suction: wet }), reading('a', '09:00', { suction: { source: 'off' } })],
      'missing by a',
    ],
    [
      'not where a change that orders nothing left the order standing',
      [
        up({ suction: dry }, DRY_UNIT),
        says('s', '09:00', 'suction-changed', { ...on, dial_cmh2o: dec(10) }),
        reading('a', '09:10', { suction: { source: 'off' } }),
      ],
      'missing by a',
    ],
  ])('%s', (_, story, expected) => {
    expect(checkOf(story)?.suction).toBe(expected);
  });

  it.each<[string, Told[]]>([
    ['where none is ordered', [up()]],
    ['where it is off and not ordered', [up({ suction: { source: 'off' } })]],
    [
      'where it was changed to off',
      [up({ suction: wet }), says('s', '09:00', 'suction-changed', { source: 'off' })],
    ],
    ['where 0 is ordered', [up({ suction: { ordered_cmh2o: dec(0) } })]],
    ['on a gravity unit', [up({ suction: wet }, { ...WET_UNIT, kind: 'gravity' })]],
    ['on an electronic unit', [up({ suction: wet }, { ...WET_UNIT, kind: 'electronic' })]],
  ])('does not apply %s', (_, story) => {
    expect(checkOf(story)?.suction).toBe('not-applicable');
  });

  it('applies where it is on, ordered or not, and where an order came before the unit', () => {
    expect(checkOf([up({ suction: on })])?.suction).toBe('missing');
    const ordered = says('s', '09:00', 'suction-changed', { ...on, ordered_cmh2o: dec(20) });
    const off = reading('a', '09:10', { suction: { source: 'off' } });
    expect(checkOf([up(), ordered, off, changed('u', '10:00', 0, 0)])?.suction).toBe('missing');
  });
});

const UNIT = { profile: WET_UNIT.id, unit_profile: WET_UNIT };

describe('connections are checked', () => {
  it.each<[string, Told[], string]>([
    ['by the set-up', [up({ connections_checked: true })], 'done by up'],
    ['not where it says no', [up({ connections_checked: false })], 'missing by up'],
    ['not where it says nothing', [up()], 'missing'],
    [
      'by a unit change',
      [up(), says('u', '10:00', 'unit-changed', { ...UNIT, connections_checked: true })],
      'done by u',
    ],
    ['not on the unit before', [up({ connections_checked: true }), changed('u', '10:00', 0, 0)], 'missing'],
  ])('%s', (_, story, expected) => {
    expect(checkOf(story)?.connections).toBe(expected);
  });
});

describe('the unit in use', () => {
  it('is none before a set-up counts', () => {
    expect(checkOf([])).toBeNull();
    expect(checkOf([setUp('07:00', 0)])).toBeNull();
  });

  it('is the last attached, though a reading of its minute was of the unit before', () => {
    const second = setUp('10:00', 0, WET_UNIT, 'up2');
    const both = [up(), second, reading('a', '10:00', { seal: { level_cmh2o: dec(3) } })];
    expect(checkOf(both)).toMatchObject({ unit: 'up2', seal: 'missing' });
  });

  it.each<[UnitKind, string, string]>([
    ['gravity', 'missing', 'not-applicable'],
    ['wet-suction', 'missing', 'missing'],
    ['dry-suction', 'missing', 'missing'],
    ['electronic', 'not-applicable', 'not-applicable'],
  ])('of kind %s: seal %s, suction ordered %s, connections missing', (kind, sealed, suction) => {
    const unit = up({ suction: { ordered_cmh2o: dec(20) } }, { ...WET_UNIT, kind });
    expect(checkOf([unit])).toEqual({ unit: 'up', seal: sealed, suction, connections: 'missing' });
  });
});
