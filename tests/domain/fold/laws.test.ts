import fc from 'fast-check';
import { describe, expect, it, vi } from 'vitest';
import type { Subject } from '../../../src/domain/book/book.ts';
import { reopened, rowsIn, type Told, tell } from '../../support/drain-script.ts';
import { arrivalOf, ledger } from '../../support/ledgers.ts';
import { ROWS_ONLY } from '../../support/policy.ts';
import { written } from '../../support/written.ts';

// A failure needs time to shrink to its smallest form.
vi.setConfig({ testTimeout: 120_000 });

const DRAINS = ['d1', 'd2'] as const;

/** Everything derived of both drains, as text. */
const derived = (subject: Subject): string[] =>
  DRAINS.flatMap((drain) => [
    written(subject.get(drain)?.view),
    ...rowsIn(subject, drain).map((row) => written(row)),
  ]);

describe('the order of arrival', () => {
  it('does not bear on what is derived', () => {
    const twoArrivals = ledger.chain((chains) => fc.tuple(arrivalOf(chains), arrivalOf(chains)));
    fc.assert(
      fc.property(twoArrivals, ([one, other]) => {
        expect(derived(tell(other, new Map(), ROWS_ONLY).subject)).toEqual(
          derived(tell(one, new Map(), ROWS_ONLY).subject),
        );
      }),
      { numRuns: 500 },
    );
  });

  it('does not matter to the books either: opened anew from the ledger they say the same', () => {
    fc.assert(
      fc.property(ledger.chain(arrivalOf), (story) => {
        const { subject, accepted } = tell(story, new Map(), ROWS_ONLY);
        const anew = reopened(accepted, ROWS_ONLY);
        expect(derived(anew)).toEqual(derived(subject));
        for (const drain of DRAINS) {
          expect(anew.get(drain)?.circumstances).toEqual(subject.get(drain)?.circumstances);
          expect(anew.get(drain)?.head).toBe(subject.get(drain)?.head);
          expect(anew.get(drain)?.reissues).toEqual(subject.get(drain)?.reissues);
        }
      }),
      { numRuns: 300 },
    );
  });
});

describe('a withdrawn entry', () => {
  it('is as if it had never been sent', () => {
    const withOneToWithdraw = ledger.chain((chains) =>
      fc.tuple(
        arrivalOf(chains),
        fc.constantFrom(...chains.keys()).map((i) => chains[i] ?? []),
      ),
    );
    fc.assert(
      fc.property(withOneToWithdraw, ([story, chain]) => {
        const keys = new Set(chain.map(({ key }) => key));
        const last = chain.at(-1);
        const first = chain[0];
        if (first === undefined || last === undefined) throw new Error('a chain is never empty');
        const withdrawal: Told = {
          key: 'withdrawal',
          time: first.time,
          drain: first.drain ?? 'd1',
          voids: first.key,
        };
        const withdrawn = 'voids' in last ? story : [...story, withdrawal];
        const never = story.filter(({ key }) => !keys.has(key));
        const { subject } = tell(withdrawn, new Map(), ROWS_ONLY);
        const drains = DRAINS.filter((drain) => never.some((told) => told.drain === drain));
        for (const drain of drains) {
          const without = tell(never, new Map(), ROWS_ONLY).subject;
          expect(rowsIn(subject, drain).map(written)).toEqual(rowsIn(without, drain).map(written));
          expect(written(subject.get(drain)?.view)).toBe(written(without.get(drain)?.view));
        }
      }),
      { numRuns: 300 },
    );
  });
});
