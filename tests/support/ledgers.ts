/**
 * Generated ledgers, for laws that must hold of any of them. All figures are invented.
 *
 * Times lie on a grid of minutes so that ties are common, levels mostly follow a line so that many intervals are
 * measured, and every kind of statement that bears on volumes occurs, with corrections and withdrawals.
 */
import fc from 'fast-check';
import type { DrainFacts } from '../../src/domain/vocabulary/entry.ts';
import { at, type Says, type Told } from './drain-script.ts';
import { setUpSays, TELLERS, type Teller } from './statements.ts';

/** The entries about one statement in the order in which they must arrive: itself, then what changes it. */
export type ToldChain = readonly Told[];

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
  if (!('patient' in says) && !('patient' in first)) return says;
  const { patient: _other, ...rest } = says as Says & DrainFacts;
  const { patient } = first as DrainFacts;
  return (patient === undefined ? rest : { ...rest, patient }) as Says;
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
