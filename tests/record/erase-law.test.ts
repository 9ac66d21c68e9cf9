/**
 * Over generated stories of a device that goes between the drains of two patients: what is lawfully erased of one of them
 * is gone wherever it stood, and all else is as it was, to the byte, and still proven.
 */
import fc from 'fast-check';
import { expect, it, vi } from 'vitest';
import { writeBody } from '../../src/audit/entry-text.ts';
import { readErased } from '../../src/audit/erasure.ts';
import { verifyDatabase } from '../../src/cli/verify/database.ts';
import type { DeviceBody } from '../../src/domain/devices/device.ts';
import type { EntryBody } from '../../src/domain/vocabulary/entry.ts';
import { createRecordAct } from '../../src/record/device-acts.ts';
import { nameOf } from '../../src/record/names.ts';
import { openLedger, SETTINGS, temporaryFile } from '../store/ledger.ts';
import { dec, NURSE } from '../support/drain-script.ts';
import {
  type Drain,
  derivedOf,
  id,
  nameOfDrain,
  openWard,
  post,
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

/** The device goes on between drains: chains and assignments that were erased are in nobody's way. */
async function moveOn(ledger: Ward, { assignments }: Story): Promise<void> {
  const act = createRecordAct(ledger.store, SETTINGS);
  ledger.setClock(Date.UTC(2026, 2, 2));
  const common = { author: NURSE, effective_at: '2026-03-01T13:00:00Z', reason: 'invented' };
  const say = async (key: string, more: object): Promise<string> => {
    const body = { identifier: id(key), ...common, ...more } as DeviceBody;
    return (await act({ device: nameOf(id('monitor-1')), body, request: key })).kind;
  };
  for (const { key, end, span } of assignments.filter((each) => !each.isVoid)) {
    const kind = await say(`withdraws-${key}`, { kind: 'entered-in-error', target: id(end) });
    expect(kind).toBe(span.drain === 'd2' ? 'recorded' : 'refused');
  }
  const stay = { drain: nameOfDrain('d2'), from: '2026-03-01T00:00:00Z' };
  expect(await say('all-day', { kind: 'assigned', ...stay })).toBe('recorded');
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
        for (const reading of story.readings) {
          const kept = namesOf(reading).filter((name) => held.has(name));
          // All forms of a reading or none, wherever each stood.
          expect([0, reading.told.length]).toContain(kept.length);
          if (isOf(['d1', 'd3'], reading, story)) expect(kept).toEqual([]);
          if (isOf(['d2'], reading, story)) expect(kept).toEqual(namesOf(reading));
        }
        for (const resend of story.again) {
          const outcome = await resend();
          if (outcome.kind === 'refused') expect(outcome.refused).toMatchObject({ refused: 'erased' });
          else expect(outcome.kind).toBe('replayed');
        }
        expect(heldIn(ledger)).toEqual(held);
        await moveOn(ledger, story);

        await eraseFrom(ledger, ['d2']);
        mustVerify(place.file);
        expect(issuedOf(ledger, 'd2')).toEqual([]);
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

async function inWard(say: (ledger: Ward, file: string) => Promise<void>): Promise<void> {
  const place = temporaryFile();
  const ledger = await openWard(place.file);
  try {
    await say(ledger, place.file);
  } finally {
    await ledger.close();
    place.remove();
  }
}

it('of a reading that counts for no drain any more, the forms that stand elsewhere are gone too', () =>
  inWard(async (ledger, file) => {
    const { readings } = await tell(ledger, [
      { kind: 'assign', span: { drain: 'd1', from: 480, to: null } },
      { kind: 'post', minute: 720, level: 50 },
      { kind: 'withdraw', which: 0 },
      { kind: 'correct', which: 0, minute: null, level: 55 },
    ]);
    const names = readings.flatMap(namesOf);
    expect(names).toHaveLength(2);
    const stands = ledger.db.prepare<[string], string>(
      "SELECT stream FROM ledger WHERE envelope ->> '$.entry' = ?",
    );
    expect(names.map((name) => stands.pluck().get(name))).toEqual([nameOfDrain('d1'), 'unmatched']);
    expect(ledger.store.unmatchedCount()).toBe(1);

    await eraseFrom(ledger, ['d1', 'd3']);

    const assignment = ['step-0', 'step-2'].map((key) => nameOf(id(key)));
    expect([...names, ...assignment].filter((name) => heldIn(ledger).has(name))).toEqual([]);
    expect(ledger.store.unmatchedCount()).toBe(0);
    mustVerify(file);

    // Whether something was erased is not for a client to know that is confined to another drain.
    const body = readings[0]?.told[0]?.body;
    if (body === undefined) throw new Error('no reading was taken');
    const again = { drain: null, body, request: writeBody(body) };
    const refusals = [again, { ...again, mayReach: () => false }].map((sent) => ledger.record([sent]));
    expect((await Promise.all(refusals)).flat()).toMatchObject([
      { kind: 'refused', refused: { refused: 'erased', pointer: '/identifier' } },
      { kind: 'refused', refused: { refused: 'out-of-bounds', pointer: '/identifier' } },
    ]);
  }));

it('texts of another drain that were issued with an entry stay, proven by what the tombstone says of them', () =>
  inWard(async (ledger, file) => {
    const common = { author: NURSE, effective_at: '2026-03-01T09:00:00Z' };
    const say = (key: string, drain: Drain, body: object) =>
      post(ledger, { identifier: id(key), ...common, ...body } as EntryBody, nameOfDrain(drain));
    for (const drain of ['d1', 'd3'] as const)
      await say(`level-${drain}`, drain, { kind: 'reading', level_ml: dec(60) });
    // The weight of a patient is charted on one drain, and changes what is issued of each.
    await say('weighed', 'd1', { kind: 'weighed', weight_kg: dec(70) });
    const before = issuedOf(ledger, 'd3');

    await eraseFrom(ledger, ['d1']);

    expect(issuedOf(ledger, 'd3')).toEqual(before);
    const body = ledger.db
      .prepare<[], string>("SELECT body FROM ledger JOIN payload USING (log_index) WHERE stream = 'erasure'")
      .pluck()
      .get();
    const { texts } = readErased(body ?? '');
    expect(texts).toHaveLength(1);
    mustVerify(file);
    ledger.db.exec('DROP TRIGGER issued_keeps_words');
    ledger.db.prepare("UPDATE issued SET resources = '[]' WHERE log_index = ?").run(texts[0]?.entry);
    expect(verifyDatabase(file, { given: null, outside: [], onProgress() {} }).finding?.what).toMatch(
      /are not those that entry \d+ left/,
    );
  }));
