/**
 * Generated ledgers, for laws that must hold of any of them. All figures are invented.
 *
 * Times lie on a grid of minutes so that ties are common, levels mostly follow a line so that many intervals are
 * measured, and every kind of statement that bears on volumes occurs, with corrections and withdrawals.
 */
import fc from 'fast-check';
import type { UnitProfile } from '../../src/domain/unit-profile.ts';
import { at, dec, type Says, type Told, WET_UNIT } from './drain-script.ts';

/** The entries about one statement in the order in which they must arrive: itself, then what changes it. */
export type ToldChain = readonly Told[];

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

const DAY_MIN = 24 * 60;
const START_MIN = 8 * 60;

/** A moment by its minutes after 08:00 of the first day. */
export function minute(after: number, seconds = 0): string {
  const total = START_MIN + after;
  const days = Math.floor(total / DAY_MIN);
  const two = (n: number) => String(n).padStart(2, '0');
  const inDay = total - days * DAY_MIN;
  return at(`+${days} ${two(Math.floor(inDay / 60))}:${two(inDay % 60)}:${two(seconds)}`);
}

const gridMinute = fc.oneof(
  { weight: 5, arbitrary: fc.integer({ min: 0, max: 24 }).map((n) => n * 15) },
  { weight: 2, arbitrary: fc.integer({ min: 0, max: 360 }) },
  { weight: 1, arbitrary: fc.integer({ min: 0, max: 30 }).map((n) => n * 60) },
);
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

const setUpSays = (opening: fc.Arbitrary<number | undefined>): fc.Arbitrary<Says> =>
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
type Teller = (minutes: number) => fc.Arbitrary<Says>;

const TELLERS: readonly { readonly weight: number; readonly tell: Teller }[] = [
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
      fc
        .constantFrom('on' as const, 'off' as const)
        .map((source): Says => ({ kind: 'suction-changed', source })),
  },
];

interface Draft {
  readonly drain: string;
  readonly first: Said;
  readonly corrections: readonly Said[];
  readonly voided: boolean;
}

interface Said {
  readonly minutes: number;
  readonly says: Says;
  /** How far the sender's clock ran ahead of the server's, minutes; undefined when it did not. */
  readonly ahead: number | undefined;
}

const ahead = fc.oneof(
  { weight: 30, arbitrary: fc.constant(undefined) },
  { weight: 1, arbitrary: fc.constantFrom(2, 10) },
);

const saidBy = (tell: Teller): fc.Arbitrary<Said> =>
  gridMinute.chain((minutes) => fc.record({ minutes: fc.constant(minutes), says: tell(minutes), ahead }));

const draft: fc.Arbitrary<Draft> = fc.oneof(
  ...TELLERS.map(({ weight, tell }) => ({
    weight,
    arbitrary: fc.record({
      drain: fc.constantFrom('d1', 'd1', 'd2'),
      first: saidBy(tell),
      corrections: fc.oneof(
        { weight: 4, arbitrary: fc.constant([]) },
        { weight: 1, arbitrary: fc.array(saidBy(tell), { minLength: 1, maxLength: 2 }) },
      ),
      voided: fc.oneof(
        { weight: 7, arbitrary: fc.constant(false) },
        { weight: 1, arbitrary: fc.constant(true) },
      ),
    }),
  })),
);

/** Keys sort otherwise than they arrive, so that no order can lean on the names. */
function chainOf({ drain, first, corrections, voided }: Draft, index: number): ToldChain {
  const key = `${(index * 7) % 10}-${index}`;
  const common = ({ minutes, ahead }: Said) => ({
    time: minute(minutes),
    drain,
    ...(ahead === undefined
      ? {}
      : { recorded: minute(minutes - ahead), author: { type: 'device' as const, reference: 'Device/1' } }),
  });
  const chain: Told[] = [{ key, ...common(first), says: first.says }];
  for (const [n, correction] of corrections.entries()) {
    const corrects = chain.at(-1)?.key ?? key;
    const to = minute(correction.minutes);
    chain.push({
      key: `${key}-c${n}`,
      ...common(correction),
      corrects,
      to,
      says: ofPatientOf(first.says, correction.says),
    });
  }
  if (voided) chain.push({ key: `${key}-v`, time: minute(0), drain, voids: key });
  return chain;
}

/** A correction may not name another patient. */
function ofPatientOf(first: Says, says: Says): Says {
  if (says.kind !== 'drain-updated' || first.kind !== 'drain-updated') return says;
  const { patient: _other, ...rest } = says;
  return first.patient === undefined ? rest : { ...rest, patient: first.patient };
}

const placement = (drain: string): fc.Arbitrary<ToldChain> =>
  fc
    .record({
      patient: fc.constantFrom(
        { patient: { reference: 'Patient/1' } },
        { patient: { reference: 'Patient/1' } },
        {},
      ),
      minutes: fc.constantFrom(0, 0, 0, 0, 0, 60),
      moved: fc.constantFrom(undefined, undefined, undefined, undefined, 30),
    })
    .map(({ patient, minutes, moved }): ToldChain => {
      const says: Says = {
        kind: 'placed',
        site: 'pleural-left',
        tubes: ['A'],
        population: 'adult',
        ...patient,
      };
      const first: Told = { key: `placed-${drain}`, time: minute(minutes), drain, says };
      if (moved === undefined) return [first];
      const to = minute(moved);
      return [first, { key: `placed-${drain}-c`, time: to, drain, corrects: first.key, to, says }];
    });

const opening = (drain: string): fc.Arbitrary<ToldChain> =>
  setUpSays(fc.constantFrom(0, 0, 0, undefined)).map(
    (says): ToldChain => [{ key: `set-up-${drain}`, time: minute(0), drain, says }],
  );

/** Two drains, of one patient or of two. */
export const ledger: fc.Arbitrary<readonly ToldChain[]> = fc
  .tuple(
    placement('d1'),
    opening('d1'),
    placement('d2'),
    fc.array(draft, { minLength: 1, maxLength: 28, size: 'max' }),
  )
  .map(([placed1, opened, placed2, drafts]) => [placed1, opened, placed2, ...drafts.map(chainOf)]);

/** The entries in some order of arrival in which each comes before what changes it. */
export function arrivalOf(chains: readonly ToldChain[]): fc.Arbitrary<readonly Told[]> {
  const turns = chains.flatMap((chain, index) => chain.map(() => index));
  return fc.shuffledSubarray(turns, { minLength: turns.length, maxLength: turns.length }).map((order) => {
    const next = chains.map(() => 0);
    return order.flatMap((index) => {
      const told = chains[index]?.[next[index] ?? 0];
      next[index] = (next[index] ?? 0) + 1;
      return told ?? [];
    });
  });
}
