/**
 * Over generated stories of a device that goes between the drains of two patients: what is lawfully erased of one of them
 * is gone wherever it stood, and all else is as it was, to the byte, and still proven.
 */
import fc from 'fast-check';
import { expect, it, vi } from 'vitest';
import { verifyDatabase } from '../../src/cli/verify/database.ts';
import { nameOf } from '../../src/record/names.ts';
import { openLedger, temporaryFile } from '../store/ledger.ts';
import { NURSE } from '../support/drain-script.ts';
import {
  type Drain,
  derivedOf,
  nameOfDrain,
  openWard,
  type Reading,
  rightDrain,
  type Story,
  step,
  tell,
} from './device-story.ts';

vi.setConfig({ testTimeout: 300_000 });

type Ward = Awaited<ReturnType<typeof openWard>>;

const isOf = (drains: readonly Drain[], reading: Reading, { assignments }: Story): boolean => {
  const drain = reading.isVoid ? null : rightDrain(reading, assignments);
  return drain !== null && drains.includes(drain);
};

const namesOf = ({ told }: Reading): string[] => told.map(({ body }) => nameOf(body.identifier));

/** Names of entries of which the ledger holds what they say. */
const heldIn = ({ db }: Pick<Ward, 'db'>): Set<string> =>
  new Set(
    db
      .prepare<[], string>(`SELECT envelope ->> '$.entry' FROM ledger JOIN payload USING (log_index)`)
      .pluck()
      .all(),
  );

const issuedOf = ({ db }: Pick<Ward, 'db'>, drain: Drain): readonly unknown[] =>
  db
    .prepare('SELECT log_index, resources FROM issued WHERE drain = ? ORDER BY rowid')
    .all(nameOfDrain(drain));

/** Nothing is signed in these ledgers, and that must be all that there is to say of them. */
function mustVerify(file: string): void {
  const { finding } = verifyDatabase(file, { given: null, outside: [], onProgress() {} });
  expect(finding).toMatchObject({ kind: 'incomplete', where: 'the log' });
}

async function eraseFrom(ledger: Ward, drains: readonly Drain[]): Promise<void> {
  const order = { drains: drains.map(nameOfDrain), messages: [], reason: 'invented' };
  await ledger.store.erase(NURSE, order);
}

it('one patient is gone, the other is as before, and every resend of what is gone is refused', async () => {
  await fc.assert(
    fc.asyncProperty(fc.array(step, { minLength: 4, maxLength: 20, size: 'max' }), async (steps) => {
      const place = temporaryFile();
      const ledger = await openWard(place.file);
      try {
        const story = await tell(ledger, steps);
        const [shown, issued] = [
          derivedOf(ledger.store.books(nameOfDrain('d2')).get(nameOfDrain('d2'))),
          issuedOf(ledger, 'd2'),
        ];

        await eraseFrom(ledger, ['d1', 'd3']);

        mustVerify(place.file);
        expect(ledger.store.log.newestFault(1000)).toBeNull();
        expect(derivedOf(ledger.store.books(nameOfDrain('d2')).get(nameOfDrain('d2')))).toEqual(shown);
        expect(issuedOf(ledger, 'd2')).toEqual(issued);
        expect([...issuedOf(ledger, 'd1'), ...issuedOf(ledger, 'd3')]).toEqual([]);
        const held = heldIn(ledger);
        for (const reading of story.readings)
          for (const name of namesOf(reading)) {
            if (isOf(['d1', 'd3'], reading, story)) expect(held).not.toContain(name);
            if (isOf(['d2'], reading, story)) expect(held).toContain(name);
          }
        for (const resend of story.again) {
          const outcome = await resend();
          if (outcome.kind === 'refused') expect(outcome.refused).toMatchObject({ refused: 'erased' });
          else expect(outcome.kind).toBe('replayed');
        }
        expect(heldIn(ledger)).toEqual(held);

        await eraseFrom(ledger, ['d2']);
        mustVerify(place.file);
        for (const reading of story.readings)
          if (isOf(['d2'], reading, story))
            for (const name of namesOf(reading)) expect(heldIn(ledger)).not.toContain(name);
        await ledger.close();
        const reopened = openLedger(place.file);
        expect(reopened.store.drains('', 9)).toEqual([]);
        await reopened.close();
        mustVerify(place.file);
      } finally {
        await ledger.store.close().catch(() => undefined);
        place.remove();
      }
    }),
    { numRuns: Number(process.env.RUNS ?? 60) },
  );
});
