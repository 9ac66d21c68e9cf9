/** What each kind of statement hands to the record, in full: names, digits as charted, and what each fact rests on. */
import { describe, expect, it } from 'vitest';
import { chartedFacts } from '../../../src/domain/facts/charted-facts.ts';
import {
  at,
  changed,
  clamped,
  dec,
  instilled,
  level,
  NURSE,
  placed,
  reading,
  rebased,
  rowOf,
  sampled,
  says,
  setUp,
  type Told,
  WET_UNIT,
  weighed,
} from '../../support/drain-script.ts';

const START: readonly Told[] = [
  placed('08:00', { encounter: { reference: 'Encounter/1' } }),
  setUp('08:00', 0),
];

/** Names and values of what an entry charts. */
const chartedBy = (told: Told) =>
  chartedFacts(rowOf([...START, told], told.key)).map(({ name, value }) => [name, value]);
const quantities = (...facts: readonly (readonly [string, string])[]) =>
  facts.map(([name, quantity]) => [name, { quantity }]);
const UNIT = ['collection-unit', { unit: WET_UNIT, serial: null }];

describe('the facts that a statement charts, with the digits it was charted with', () => {
  const wet = { column_cmh2o: dec('20.0'), ordered_cmh2o: dec(15) };
  const dry = { dial_cmh2o: dec('10.50'), ordered_cmh2o: dec(15) };

  it.each<[string, Told, unknown]>([
    [
      'a set-up',
      says('x', '09:00', 'set-up', {
        profile: WET_UNIT.id,
        unit_profile: WET_UNIT,
        opening_level_ml: dec('0.0'),
        seal_filled_cmh2o: dec(2),
        suction: wet,
      }),
      [
        UNIT,
        ...quantities(
          ['opening-level', '0.0'],
          ['seal-level', '2'],
          ['imposed-suction', '20.0'],
          ['ordered-suction', '15'],
        ),
      ],
    ],
    [
      'a set-up of a dry unit',
      says('x', '09:00', 'set-up', { profile: WET_UNIT.id, unit_profile: WET_UNIT, suction: dry }),
      [UNIT, ...quantities(['imposed-suction', '10.50'], ['ordered-suction', '15'])],
    ],
    ['a set-up that states no more than the unit', setUp('09:00', null, WET_UNIT, 'x'), [UNIT]],
    [
      'a set-up that states its serial number',
      says('x', '09:00', 'set-up', { profile: WET_UNIT.id, unit_profile: WET_UNIT, unit_serial: 'S 1' }),
      [['collection-unit', { unit: WET_UNIT, serial: 'S 1' }]],
    ],
    [
      'a unit change',
      changed('x', '09:00', 150, 5),
      [UNIT, ...quantities(['closing-level', '150'], ['opening-level', '5'])],
    ],
    [
      'a re-based level',
      rebased('x', '09:00', 150, 20),
      quantities(['closing-level', '150'], ['opening-level', '20']),
    ],
    [
      'a change of suction, wet',
      says('x', '09:00', 'suction-changed', { source: 'on', ...wet }),
      quantities(['imposed-suction', '20.0'], ['ordered-suction', '15']),
    ],
    [
      'a change of suction, dry',
      says('x', '09:00', 'suction-changed', { source: 'on', ...dry }),
      quantities(['imposed-suction', '10.50'], ['ordered-suction', '15']),
    ],
    ['an instillation', instilled('x', '09:00', 30), quantities(['instilled-volume', '30'])],
    ['a sample', sampled('x', '09:00', 10), quantities(['sampled-volume', '10'])],
    ['a weight', weighed('x', '09:00', 70.5), quantities(['body-weight', '70.5'])],
    ['a clamp', clamped('x', '09:00'), []],
    ['a reading of nothing', reading('x', '09:00', { clamped: true }), []],
  ])('%s', (_, told, expected) => {
    expect(chartedBy(told)).toEqual(expected);
  });

  it('a reading of everything, with a grouping over all of it', () => {
    const everything = reading('x', '09:00', {
      level_ml: dec('100'),
      suction: wet,
      seal: { level_cmh2o: dec('2.5') },
      pressure_cmh2o: dec(-8),
      air_leak: { flow_ml_min: dec(40), grade: dec('3'), phase: 'expiratory' },
      tidaling: 'present',
      fluid_character: 'serous',
      fluid_colour: 'straw',
    });
    const expected = [
      ...quantities(
        ['level', '100'],
        ['imposed-suction', '20.0'],
        ['ordered-suction', '15'],
        ['seal-level', '2.5'],
        ['measured-pressure', '-8'],
        ['air-leak-flow', '40'],
      ),
      ['air-leak-grade', { code: '3' }],
      ['air-leak-phase', { code: 'expiratory' }],
      ['tidaling', { code: 'present' }],
      ['fluid-character', { code: 'serous' }],
      ['fluid-colour', { text: 'straw' }],
    ];
    expect(chartedBy(everything)).toEqual([...expected, ['reading', { grouping: true }]]);
    const grouping = chartedFacts(rowOf([...START, everything], 'x')).at(-1);
    expect(grouping?.members).toEqual(expected.map(([name]) => ({ name, anchor: 'x' })));
  });

  it('a dial is the suction of a reading that has no column', () => {
    expect(chartedBy(reading('x', '09:00', { suction: dry })).slice(0, 2)).toEqual(
      quantities(['imposed-suction', '10.50'], ['ordered-suction', '15']),
    );
  });

  it('names the unit that shows it; of a unit change the closing level is read off the unit that goes', () => {
    const shownBy = (...told: Told[]) =>
      Object.fromEntries(
        chartedFacts(rowOf([...START, ...told], 'x')).map(({ name, read_off }) => [name, read_off?.anchor]),
      );
    const everything = reading('x', '09:00', {
      level_ml: dec(100),
      suction: wet,
      seal: { level_cmh2o: dec(2) },
      pressure_cmh2o: dec(-8),
      air_leak: { flow_ml_min: dec(40), grade: dec(3), phase: 'expiratory' },
      tidaling: 'present',
      fluid_character: 'serous',
    });
    expect(shownBy(everything)).toEqual({
      level: 'set-up',
      'imposed-suction': 'set-up',
      'ordered-suction': undefined,
      'seal-level': 'set-up',
      'measured-pressure': 'set-up',
      'air-leak-flow': 'set-up',
      'air-leak-grade': 'set-up',
      'air-leak-phase': 'set-up',
      tidaling: 'set-up',
      'fluid-character': undefined,
      reading: undefined,
    });
    expect(shownBy(changed('new', '08:30', 20, 0), level('x', '09:00', 30)).level).toBe('new');
    expect(shownBy(changed('x', '09:00', 150, 5))).toEqual({
      'collection-unit': undefined,
      'closing-level': undefined,
      'opening-level': 'x',
    });
    expect(shownBy(rebased('x', '09:00', 150, 20))).toEqual({
      'closing-level': 'set-up',
      'opening-level': 'set-up',
    });
  });

  it('names who charted it, when, in which encounter, and the note on the reading alone', () => {
    const told: Told = {
      key: 'x',
      time: '09:00',
      says: { kind: 'reading', level_ml: dec(100), note: 'propped up' },
    };
    const common = {
      anchor: 'x',
      effective: { at: at('09:00') },
      components: [],
      flags: [],
      derived_from: [],
      author: NURSE,
      encounter: { reference: 'Encounter/1' },
    };
    expect(chartedFacts(rowOf([...START, told], 'x'))).toEqual([
      {
        ...{ name: 'level', value: { quantity: '100' }, members: [], note: null, ...common },
        read_off: { name: 'collection-unit', anchor: 'set-up' },
      },
      {
        ...{ name: 'reading', value: { grouping: true }, note: 'propped up', ...common },
        members: [{ name: 'level', anchor: 'x' }],
      },
    ]);
    const silent = chartedFacts(rowOf([...START, level('x', '09:00', 100)], 'x'));
    expect(silent.at(-1)?.note).toBeNull();
  });
});
