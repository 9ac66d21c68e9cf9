/** What a level hands to the record beside itself, in full. Readings are invented, arithmetic ours; U = 2 √(2 × 25/12) mL. */
import { describe, expect, it } from 'vitest';
import { derivedFacts } from '../../../src/domain/facts/derived-facts.ts';
import {
  at,
  changed,
  clamped,
  dec,
  instilled,
  level,
  placed,
  reading,
  rowOf,
  sampled,
  says,
  setUp,
  type Told,
  unclamped,
  WET_UNIT,
  weighed,
} from '../../support/drain-script.ts';

const START: readonly Told[] = [
  placed('08:00', { encounter: { reference: 'Encounter/1' } }),
  setUp('08:00', 0),
];
const factsAt = (story: readonly Told[], key: string) => derivedFacts(rowOf(story, key));
const factAt = (story: readonly Told[], key: string, name: string) =>
  factsAt(story, key).find((fact) => fact.name === name);

const HOUR = [
  ...START,
  weighed('w', '08:00', 10),
  clamped('c', '08:15'),
  unclamped('o', '08:45'),
  instilled('in', '08:30', 10),
  sampled('out', '08:40', 5),
  level('a', '09:00', 50),
];

describe('an hour with a flush, a sample, a clamp and a weight', () => {
  const parts = [
    { name: 'drained', quantity: '50' },
    { name: 'sampled', quantity: '5' },
    { name: 'instilled', quantity: '10' },
  ];
  const error = { name: 'uncertainty', quantity: '4.1' };
  const common = {
    anchor: 'a',
    effective: { from: at('08:00'), to: at('09:00') },
    flags: [],
    members: [],
    author: null,
    encounter: { reference: 'Encounter/1' },
    note: null,
  };
  const netRef = [{ name: 'net-drainage', anchor: 'a' }];

  it('gives net, rates and a cumulative sum', () => {
    expect(factsAt(HOUR, 'a').slice(0, 4)).toEqual([
      {
        ...{ ...common, name: 'net-drainage', value: { quantity: '45' }, components: [...parts, error] },
        derived_from: [
          { name: 'opening-level', anchor: 'set-up' },
          { name: 'level', anchor: 'a' },
        ],
      },
      {
        ...{ ...common, name: 'drainage-rate', value: { quantity: '45.0' }, derived_from: netRef },
        components: [
          { name: 'open-time-rate', quantity: '90.0' },
          { name: 'rate-uncertainty', quantity: '4.1' },
        ],
      },
      {
        ...{ ...common, name: 'drainage-rate-per-kg', value: { quantity: '4.50' } },
        components: [
          { name: 'weight-used', quantity: '10' },
          { name: 'rate-per-kg-uncertainty', quantity: '0.41' },
        ],
        derived_from: [
          { name: 'drainage-rate', anchor: 'a' },
          { name: 'body-weight', anchor: 'w', drain: 'd1' },
        ],
      },
      {
        ...{ ...common, name: 'cumulative-drainage', value: { quantity: '45' }, derived_from: netRef },
        components: [...parts, error],
      },
    ]);
  });

  it('gives the trailing windows: the hour whole, the longer ones as lower bounds without an upper one', () => {
    const windows = factsAt(HOUR, 'a').slice(4);
    const sums = [...parts, { name: 'net-low', quantity: '45' }];
    expect(windows[0]).toEqual({
      ...{ ...common, name: 'net-drainage-1h', value: { quantity: '45' }, derived_from: netRef },
      components: [
        ...sums,
        { name: 'net-high', quantity: '45' },
        { name: 'coverage', quantity: '1.000' },
        error,
      ],
    });
    expect(windows[1]).toEqual({
      ...{ ...common, name: 'net-drainage-4h', value: { quantity: '45', at_least: true } },
      effective: { from: at('05:00'), to: at('09:00') },
      components: [...sums, { name: 'coverage', quantity: '0.250' }, error],
      flags: ['lower-bound'],
      derived_from: netRef,
    });
    expect(windows.map(({ name }) => name)).toEqual(
      [1, 4, 8, 12, 24].map((hours) => `net-drainage-${hours}h`),
    );
  });

  it('gives no rate by weight where none was taken', () => {
    const names = factsAt([...START, level('a', '09:00', 50)], 'a').map(({ name }) => name);
    expect(names.slice(0, 3)).toEqual(['net-drainage', 'drainage-rate', 'cumulative-drainage']);
  });

  it('names no open-time rate where the tube was clamped throughout', () => {
    const shut = [...START, clamped('c', '08:00'), level('a', '09:00', 10)];
    expect(factAt(shut, 'a', 'drainage-rate')?.components).toEqual([
      { name: 'rate-uncertainty', quantity: '4.1' },
    ]);
  });
});

describe('what is not known in full says so', () => {
  const open = [
    ...[...START, weighed('w', '08:00', 10), level('a', '09:00', 90)],
    ...[changed('u', '10:00', null, 0), level('b', '11:00', 30)],
  ];

  it('a lower bound: in its value, a flag and the reason; no rate by weight', () => {
    expect(factAt(open, 'b', 'net-drainage')).toMatchObject({
      value: { quantity: '30', at_least: true },
      flags: ['lower-bound'],
      note: 'no-closing-level',
      derived_from: [
        { name: 'level', anchor: 'a' },
        { name: 'level', anchor: 'b' },
      ],
    });
    expect(factAt(open, 'b', 'cumulative-drainage')?.note).toBe(
      'A lower bound: part of an interval is not known.',
    );
    expect(factsAt(open, 'b').map(({ name }) => name)).not.toContain('drainage-rate-per-kg');
  });

  it('an interval that ends with its unit rests on the closing level', () => {
    const closed = [...START, changed('u', '10:00', 90, 0)];
    expect(factAt(closed, 'u', 'net-drainage')?.derived_from.at(-1)).toEqual({
      name: 'closing-level',
      anchor: 'u',
    });
  });

  it('a fall that nothing explains: no value and no drained part', () => {
    const fall = [...START, level('a', '09:00', 90), level('b', '10:00', 20)];
    expect(factAt(fall, 'b', 'net-drainage')).toMatchObject({
      value: { absent: 'unexplained-fall' },
      components: [
        { name: 'sampled', quantity: '0' },
        { name: 'instilled', quantity: '0' },
      ],
      flags: [],
      note: 'unexplained-fall',
    });
    expect(factAt(fall, 'a', 'net-drainage')).toMatchObject({
      value: { quantity: '90' },
      flags: ['suspect'],
    });
    const names = factsAt(fall, 'b').map(({ name }) => name);
    expect(names.slice(0, 2)).toEqual(['net-drainage', 'cumulative-drainage']);
  });

  it('a window whose edge cuts an interval is interpolated, with its bounds', () => {
    const long = [...START, level('a', '09:30', 90), level('b', '10:00', 120)];
    // The hour before 10:00: 30 of the 90 mL that came in the 90 min before 09:30, and 30.
    expect(factAt(long, 'b', 'net-drainage-1h')).toMatchObject({
      value: { quantity: '60' },
      flags: ['interpolated'],
    });
    expect(factAt(long, 'b', 'net-drainage-1h')?.components.slice(0, 6)).toEqual([
      { name: 'drained', quantity: '60' },
      { name: 'sampled', quantity: '0' },
      { name: 'instilled', quantity: '0' },
      { name: 'net-low', quantity: '30' },
      { name: 'net-high', quantity: '120' },
      { name: 'coverage', quantity: '1.000' },
    ]);
  });

  it('an uncertainty that is not known is not given', () => {
    const bare = [placed(), level('a', '08:00', 0), level('b', '09:00', 50)];
    const named = factsAt(bare, 'b').flatMap(({ components }) => components.map(({ name }) => name));
    expect(named.filter((name) => name.includes('uncertainty'))).toEqual([]);
    expect(factAt(bare, 'b', 'net-drainage')?.value).toEqual({ quantity: '50' });
  });
});

describe('total negativity', () => {
  const negativityOf = (told: Told, story = START) => factAt([...story, told], told.key, 'total-negativity');

  it('has a value where it is proven, no range and no note', () => {
    const proven = reading('x', '09:00', {
      suction: { source: 'on', column_cmh2o: dec(20), bubbling: 'gentle' },
      seal: { level_cmh2o: dec(5) },
    });
    const on = says('on', '08:30', 'suction-changed', { source: 'on' });
    expect(negativityOf(proven, [...START, on])?.value).toEqual({ quantity: '25' });
    expect(negativityOf(proven, [...START, on])).toMatchObject({
      effective: { at: at('09:00') },
      components: [],
      note: null,
    });
  });

  it.each<[string, Told, object]>([
    [
      'a dial',
      reading('x', '09:00', { suction: { dial_cmh2o: dec(20) } }),
      { components: [], derived_from: [{ name: 'imposed-suction', anchor: 'x' }] },
    ],
    [
      'the bottom of the range alone',
      reading('x', '09:00', { seal: { level_cmh2o: dec(5) } }),
      {
        components: [{ name: 'negativity-low', quantity: '5' }],
        derived_from: [{ name: 'seal-level', anchor: 'x' }],
        note: 'suction-source-not-charted',
      },
    ],
    [
      'the top of the range alone',
      reading('x', '09:00', { suction: { source: 'off' }, seal: { swing_high_cmh2o: dec(8) } }),
      { components: [{ name: 'negativity-high', quantity: '8' }], derived_from: [] },
    ],
  ])('without a value shows what is known: %s', (_, told, expected) => {
    expect(negativityOf(told)).toMatchObject(expected);
  });

  it('rests on the pressure that an electronic unit measured', () => {
    const electronic = setUp('08:30', 0, { ...WET_UNIT, id: 'e', kind: 'electronic' }, 'e');
    const measured = reading('x', '09:00', { pressure_cmh2o: dec('-8.5') });
    expect(negativityOf(measured, [...START, electronic])).toMatchObject({
      value: { quantity: '8.5' },
      derived_from: [{ name: 'measured-pressure', anchor: 'x' }],
    });
  });
});
