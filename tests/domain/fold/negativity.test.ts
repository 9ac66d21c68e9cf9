import { describe, expect, it } from 'vitest';
import { derivedFacts } from '../../../src/domain/facts/derived-facts.ts';
import {
  type NegativityReason,
  type SuctionSource,
  totalNegativity,
} from '../../../src/domain/fold/negativity.ts';
import type { Reading, Suction } from '../../../src/domain/vocabulary/entry.ts';
import type { UnitProfile } from '../../../src/domain/vocabulary/unit-profile.ts';
import {
  changed,
  dec,
  level,
  placed,
  reading,
  rowOf,
  says,
  setUp,
  type Told,
  WET_UNIT,
} from '../../support/drain-script.ts';

const DRY: UnitProfile = { ...WET_UNIT, id: 'dry', kind: 'dry-suction' };
const GRAVITY: UnitProfile = { ...WET_UNIT, id: 'gravity', kind: 'gravity' };
const ELECTRONIC: UnitProfile = { ...WET_UNIT, id: 'electronic', kind: 'electronic' };

type Charted = Omit<Reading, 'kind'>;
const total = (profile: UnitProfile | null, charted: Charted, source: SuctionSource = null) =>
  totalNegativity({ kind: 'reading', ...charted }, profile, source);
const seal = (cm: number | string) => ({ seal: { level_cmh2o: dec(cm) } });
const column = (cm: number, more: Suction = {}) => ({ suction: { column_cmh2o: dec(cm), ...more } });
const dial = (cm: number, more: Suction = {}) => ({ suction: { dial_cmh2o: dec(cm), ...more } });
const value = (cm: number) => ({ value: cm * 1000 });
const range = (low: number | null, high: number | null, reason: NegativityReason) => ({
  value: null,
  low: low === null ? null : low * 1000,
  high: high === null ? null : high * 1000,
  reason,
});

describe('total negativity where every part is proven', () => {
  const bubbling = { bubbling: 'gentle' as const };
  const inRange = { indicator: 'in-range' as const };

  it.each([
    [
      'wet, bubbling: 20 + 5 = 25 (common practice, no source)',
      WET_UNIT,
      { ...column(20, bubbling), ...seal(5) },
      25,
    ],
    [
      'wet, bubbling: 20 + 15 = 35 (common practice, no source)',
      WET_UNIT,
      { ...column(20, bubbling), ...seal(15) },
      35,
    ],
    [
      'wet: a column of 15 is 15 (Clinical Application of Mechanical Ventilation 2014, p. 468)',
      WET_UNIT,
      { ...column(15, bubbling), ...seal(0) },
      15,
    ],
    [
      'wet: an evaporated column counts as it stands, 17 of 20 ordered (common practice, no source)',
      WET_UNIT,
      { ...column(17, { ...bubbling, ordered_cmh2o: dec(20) }), ...seal(0) },
      17,
    ],
    [
      'wet, vigorous bubbling proves it too',
      WET_UNIT,
      { ...column(20, { bubbling: 'vigorous' }), ...seal(5) },
      25,
    ],
    [
      'dry, indicator in range: 20 + 5 (common practice, no source)',
      DRY,
      { ...dial(20, inRange), ...seal(5) },
      25,
    ],
  ])('%s', (_, profile, charted, expected) => {
    expect(total(profile, charted, 'on')).toEqual(value(expected));
  });

  it.each([
    [
      'source off, seal 6 is 6 (common practice, no source)',
      WET_UNIT,
      { ...column(20), ...seal(6) },
      'off',
      6,
    ],
    ['dry, source off', DRY, { ...dial(20), ...seal(6) }, 'off', 6],
    ['gravity, seal 15 is 15, whatever the source (common practice, no source)', GRAVITY, seal(15), 'on', 15],
    ['gravity, source not charted', GRAVITY, seal(15), null, 15],
  ] as const)('is the seal part alone: %s', (_, profile, charted, source, expected) => {
    expect(total(profile, charted, source)).toEqual(value(expected));
  });

  it.each([
    ['read from the fill line, fill does not count', false, false, 3],
    ['read from the fill line, fill counts', false, true, 5],
    ['read from zero, fill does not count', true, false, 1],
    ['read from zero, fill counts', true, true, 3],
  ])(
    'takes the seal in the convention of the profile, reading 3 with a fill of 2: %s',
    (_, includes, counts, cm) => {
      const profile = { ...GRAVITY, seal_reading_includes_fill: includes, seal_fill_counts: counts };
      expect(total(profile, seal(3))).toEqual(value(cm));
    },
  );

  it('at rest with suction 20 is 20, or 22 where the fill counts (both are in use; common practice, no source)', () => {
    const charted = { ...column(20, bubbling), ...seal(0) };
    expect(total(WET_UNIT, charted, 'on')).toEqual(value(20));
    expect(total({ ...WET_UNIT, seal_fill_counts: true }, charted, 'on')).toEqual(value(22));
  });

  it('never goes below nothing when the seal stands below its fill', () => {
    expect(total({ ...GRAVITY, seal_reading_includes_fill: true }, seal('1.5'))).toEqual(value(0));
  });

  it('has no fill to take off where the profile states none', () => {
    const { seal_fill_cmh2o: _fill, ...bare } = GRAVITY;
    expect(total({ ...bare, seal_reading_includes_fill: true }, seal(3))).toEqual(value(3));
  });
});

describe('total negativity with a part unproven has no value, a range and a reason (common practice, no source)', () => {
  it.each([
    [
      'wet, no bubbling: 5 to 25',
      WET_UNIT,
      { ...column(20, { bubbling: 'none' }), ...seal(5) },
      range(5, 25, 'no-bubbling'),
    ],
    [
      'wet, bubbling not charted',
      WET_UNIT,
      { ...column(20), ...seal(5) },
      range(5, 25, 'bubbling-not-charted'),
    ],
    [
      'wet, ordered suction alone',
      WET_UNIT,
      { suction: { ordered_cmh2o: dec(20), bubbling: 'gentle' }, ...seal(5) },
      range(5, 25, 'suction-not-charted'),
    ],
    [
      'wet, a dial is not its column',
      WET_UNIT,
      { ...dial(20, { bubbling: 'gentle' }), ...seal(5) },
      range(5, null, 'suction-not-charted'),
    ],
    ['wet, seal alone', WET_UNIT, seal(5), range(5, null, 'suction-not-charted')],
    [
      'wet, seal not charted',
      WET_UNIT,
      column(20, { bubbling: 'gentle' }),
      range(null, null, 'seal-level-not-charted'),
    ],
    [
      'dry, indicator out of range',
      DRY,
      { ...dial(20, { indicator: 'out-of-range' }), ...seal(5) },
      range(5, 25, 'indicator-out-of-range'),
    ],
    ['dry, indicator not charted', DRY, { ...dial(20), ...seal(5) }, range(5, 25, 'indicator-not-charted')],
    [
      'dry, indicator not assessed',
      DRY,
      { ...dial(20, { indicator: 'not-assessed' }), ...seal(5) },
      range(5, 25, 'indicator-not-charted'),
    ],
    [
      'wet, swing alone gives the range',
      WET_UNIT,
      { ...column(20, { bubbling: 'gentle' }), seal: { swing_low_cmh2o: dec(2), swing_high_cmh2o: dec(8) } },
      range(22, 28, 'only-seal-swing-charted'),
    ],
    [
      'wet, swing and no bubbling',
      WET_UNIT,
      { ...column(20, { bubbling: 'none' }), seal: { swing_low_cmh2o: dec(2), swing_high_cmh2o: dec(8) } },
      range(2, 28, 'no-bubbling'),
    ],
    [
      'wet, only the top of the swing',
      WET_UNIT,
      { ...column(20, { bubbling: 'gentle' }), seal: { swing_high_cmh2o: dec(8) } },
      range(null, 28, 'only-seal-swing-charted'),
    ],
    [
      'wet, only the bottom of the swing',
      WET_UNIT,
      { ...column(20, { bubbling: 'gentle' }), seal: { swing_low_cmh2o: dec(2) } },
      range(22, null, 'only-seal-swing-charted'),
    ],
  ])('%s', (_, profile, charted, expected) => {
    expect(total(profile, charted as Charted, 'on')).toEqual(expected);
  });

  it('names a source that was never charted', () => {
    const charted = { ...column(20, { bubbling: 'gentle' }), ...seal(5) };
    expect(total(WET_UNIT, charted, null)).toEqual(range(5, 25, 'suction-source-not-charted'));
  });

  it('names a unit that is not known', () => {
    expect(total(null, seal(5), 'off')).toEqual(range(null, null, 'unit-unknown'));
  });

  it('is not asked for by a reading that bears on no pressure', () => {
    expect(total(WET_UNIT, { level_ml: dec(100) }, 'on')).toBeNull();
  });
});

describe('an electronic unit', () => {
  it.each([
    ['-8 is 8, nothing added for the seal', { pressure_cmh2o: dec(-8), ...seal(5) }, value(8)],
    ['0 is 0', { pressure_cmh2o: dec(0) }, value(0)],
    ['+2 has no value', { pressure_cmh2o: dec(2) }, range(null, null, 'positive-pressure')],
    ['pressure not charted', seal(5), range(null, null, 'pressure-not-charted')],
  ])('measures: %s', (_, charted, expected) => {
    expect(total(ELECTRONIC, charted, 'on')).toEqual(expected);
  });
});

describe('the suction source', () => {
  const proven = { ...column(20, { bubbling: 'gentle' }), ...seal(5) };
  const START: readonly Told[] = [placed(), setUp('08:00', 0)];
  const at = (story: readonly Told[], key: string) => rowOf(story, key).negativity;

  it('persists from the entry that charted it until another does', () => {
    const on = says('on', '08:10', 'suction-changed', { source: 'on' });
    const off = reading('off', '10:00', { suction: { source: 'off' }, ...seal(5) });
    const story = [...START, on, reading('a', '09:00', proven), off, reading('b', '11:00', proven)];
    expect(at(story, 'a')).toEqual(value(25));
    expect(at(story, 'off')).toEqual(value(5));
    expect(at(story, 'b')).toEqual(value(5));
  });

  it('is all that persists: column and bubbling of an earlier reading do not', () => {
    const on = reading('on', '08:30', { suction: { source: 'on', ...proven.suction }, ...seal(5) });
    const story = [...START, on, reading('a', '09:00', seal(5))];
    expect(at(story, 'a')).toEqual(range(5, null, 'suction-not-charted'));
  });

  it('charted by a late entry counts for the readings after it', () => {
    const story = [...START, reading('a', '09:00', proven)];
    expect(at(story, 'a')).toEqual(range(5, 25, 'suction-source-not-charted'));
    const late = [...story, says('on', '08:10', 'suction-changed', { source: 'on' })];
    expect(at(late, 'a')).toEqual(value(25));
  });

  it('changed at the minute of a reading counts from the next reading on', () => {
    const story = [
      ...START,
      says('on', '09:00', 'suction-changed', { source: 'on' }),
      reading('a', '09:00', proven),
    ];
    expect(at([...story, reading('b', '09:30', proven)], 'b')).toEqual(value(25));
    expect(at(story, 'a')).toEqual(range(5, 25, 'suction-source-not-charted'));
  });
});

describe('a reading in the minute in which the first known unit is attached', () => {
  const read = (ml?: number) =>
    reading('a', '10:00', { ...seal(5), ...(ml === undefined ? {} : { level_ml: dec(ml) }) });
  const earlier = [
    placed(),
    says('off', '08:00', 'suction-changed', { source: 'off' }),
    level('l', '09:00', 700),
  ];

  // Common practice, no source: what the unit before it was, nobody charted.
  it.each<[string, Told[], ReturnType<typeof value> | ReturnType<typeof range>]>([
    [
      'by a change, on the old scale',
      [changed('u', '10:00', 702, 0), read(702)],
      range(null, null, 'unit-unknown'),
    ],
    [
      'by a change, without a level',
      [changed('u', '10:00', 702, 0), read()],
      range(null, null, 'unit-unknown'),
    ],
    ['by a change, on the new scale', [changed('u', '10:00', 702, 0), read(0)], value(5)],
    ['by a set-up, on the old scale', [setUp('10:00', 0), read(702)], range(null, null, 'unit-unknown')],
    ['by a set-up, without a level', [setUp('10:00', 0), read()], value(5)],
  ])('%s', (_, told, expected) => {
    expect(rowOf([...earlier, ...told], 'a').negativity).toEqual(expected);
  });
});

describe('the fact of total negativity', () => {
  it('rests on the parts that were charted and shows the range where there is no value', () => {
    const story = [placed(), setUp('08:00', 0), reading('a', '09:00', { ...column(20), ...seal(5) })];
    expect(derivedFacts(rowOf(story, 'a'))).toMatchObject([
      {
        name: 'total-negativity',
        value: { absent: 'suction-source-not-charted' },
        components: [
          { name: 'negativity-low', quantity: '5' },
          { name: 'negativity-high', quantity: '25' },
        ],
        derived_from: [
          { name: 'seal-level', anchor: 'a' },
          { name: 'imposed-suction', anchor: 'a' },
        ],
      },
    ]);
    expect(
      derivedFacts(rowOf([...story, level('b', '10:00', 5)], 'b')).map(({ name }) => name),
    ).not.toContain('total-negativity');
  });
});
