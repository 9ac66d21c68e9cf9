/** Generated statements about a drain, near a line of rising levels. All figures are invented. */
import fc from 'fast-check';
import type { UnitProfile } from '../../src/domain/vocabulary/unit-profile.ts';
import { dec, type Says, WET_UNIT } from './drain-script.ts';

/** Small, with two bands, and a seal reading that includes the fill: what a wrong unit would show. */
export const SMALL_UNIT: UnitProfile = {
  id: 'dry-150',
  kind: 'dry-suction',
  capacity_ml: dec(150),
  graduations: [
    { up_to_ml: dec(50), mark_ml: dec(1) },
    { up_to_ml: dec(150), mark_ml: dec(10) },
  ],
  leak_scale_max: dec(5),
  seal_fill_cmh2o: dec(2),
  seal_reading_includes_fill: true,
  seal_fill_counts: false,
};

const profile = fc.constantFrom(WET_UNIT, SMALL_UNIT);
const anyLevel = fc.oneof(
  fc.integer({ min: 0, max: 30 }).map((n) => n * 5),
  fc.integer({ min: 0, max: 160 }),
);
const maybe = <T>(value: fc.Arbitrary<T>) => fc.option(value, { nil: undefined });

/** A level near a line through the origin, or anywhere. */
const levelNear = (minutes: number): fc.Arbitrary<number> =>
  fc.oneof(
    {
      weight: 4,
      arbitrary: fc.constantFrom(0, 0, 5, -5, 10).map((off) => Math.max(0, onLine(minutes) + off)),
    },
    { weight: 1, arbitrary: anyLevel },
  );
const onLine = (minutes: number): number => Math.floor(minutes / 20) * 5;

const decOrNothing = (name: string, value: number | undefined) =>
  value === undefined ? {} : { [name]: dec(value) };

const suction = fc.record(
  {
    source: fc.constantFrom('on' as const, 'off' as const),
    column_cmh2o: fc.constantFrom(dec(20), dec('17.5')),
    dial_cmh2o: fc.constant(dec(20)),
    bubbling: fc.constantFrom('none' as const, 'gentle' as const),
    indicator: fc.constantFrom('in-range' as const, 'out-of-range' as const),
  },
  { requiredKeys: [] },
);

const readingAt = (minutes: number): fc.Arbitrary<Says> =>
  fc
    .record({
      level: fc.oneof(
        { weight: 6, arbitrary: levelNear(minutes) },
        { weight: 1, arbitrary: fc.constant(undefined) },
      ),
      clamped: fc.oneof(
        { weight: 6, arbitrary: fc.constant(undefined) },
        { weight: 1, arbitrary: fc.boolean() },
      ),
      suction: fc.oneof({ weight: 3, arbitrary: fc.constant(undefined) }, { weight: 1, arbitrary: suction }),
      seal: fc.oneof(
        { weight: 3, arbitrary: fc.constant(undefined) },
        { weight: 1, arbitrary: fc.constant(4) },
      ),
      grade: fc.oneof(
        { weight: 5, arbitrary: fc.constant(undefined) },
        { weight: 1, arbitrary: fc.constant(6) },
      ),
    })
    .map(
      ({ level, clamped, suction, seal, grade }): Says => ({
        kind: 'reading',
        ...decOrNothing('level_ml', level),
        ...(clamped === undefined ? {} : { clamped }),
        ...(suction === undefined ? {} : { suction }),
        ...(seal === undefined ? {} : { seal: { level_cmh2o: dec(seal) } }),
        ...(grade === undefined ? {} : { air_leak: { grade: dec(grade) } }),
      }),
    );

export const setUpSays = (opening: fc.Arbitrary<number | undefined>): fc.Arbitrary<Says> =>
  fc.record({ profile, opening }).map(({ profile, opening }) => ({
    kind: 'set-up',
    profile: profile.id,
    unit_profile: profile,
    ...decOrNothing('opening_level_ml', opening),
  }));

const changeAt = (minutes: number): fc.Arbitrary<Says> =>
  fc
    .record({ profile, closing: maybe(levelNear(minutes)), opening: maybe(fc.constantFrom(0, 5, 20)) })
    .map(({ profile, closing, opening }) => ({
      kind: 'unit-changed',
      profile: profile.id,
      unit_profile: profile,
      ...decOrNothing('closing_level_ml', closing),
      ...decOrNothing('opening_level_ml', opening),
    }));

const rebaseAt = (minutes: number): fc.Arbitrary<Says> =>
  fc.record({ trusted: maybe(levelNear(minutes)), level: maybe(anyLevel) }).map(({ trusted, level }) => ({
    kind: 'level-rebased',
    cause: 'spill',
    ...decOrNothing('last_trusted_level_ml', trusted),
    ...decOrNothing('new_level_ml', level),
  }));

const volume = fc.integer({ min: 1, max: 60 }).map((n) => dec(n));
const encounter = fc.constantFrom({ reference: 'Encounter/1' }, { reference: 'Encounter/2' });
const drainFacts = fc.record(
  {
    patient: fc.constantFrom({ reference: 'Patient/1' }, { reference: 'Patient/2' }),
    encounter,
    population: fc.constantFrom('adult' as const, 'paediatric' as const),
  },
  { requiredKeys: [] },
);

/** What may be said, of one kind, at a minute. */
export type Teller = (minutes: number) => fc.Arbitrary<Says>;

export const TELLERS: readonly { readonly weight: number; readonly tell: Teller }[] = [
  { weight: 20, tell: readingAt },
  { weight: 2, tell: () => setUpSays(maybe(fc.constantFrom(0, 5))) },
  { weight: 3, tell: changeAt },
  { weight: 1, tell: rebaseAt },
  {
    weight: 2,
    tell: () => volume.map((volume_ml): Says => ({ kind: 'instilled', volume_ml, purpose: 'flush' })),
  },
  { weight: 1, tell: () => volume.map((volume_ml): Says => ({ kind: 'sampled', volume_ml })) },
  { weight: 1, tell: () => fc.constant<Says>({ kind: 'clamped' }) },
  { weight: 1, tell: () => fc.constant<Says>({ kind: 'unclamped' }) },
  {
    weight: 2,
    tell: () => fc.integer({ min: 3, max: 90 }).map((kg): Says => ({ kind: 'weighed', weight_kg: dec(kg) })),
  },
  { weight: 1, tell: () => drainFacts.map((facts): Says => ({ kind: 'drain-updated', ...facts })) },
  { weight: 1, tell: () => fc.constant<Says>({ kind: 'removed' }) },
  {
    weight: 1,
    tell: () =>
      drainFacts.map((facts): Says => ({ kind: 'placed', site: 'mediastinal', tubes: ['B'], ...facts })),
  },
  {
    weight: 1,
    tell: () =>
      fc
        .constantFrom('on' as const, 'off' as const)
        .map((source): Says => ({ kind: 'suction-changed', source })),
  },
];
