/**
 * Over generated stories of a device: what each drain shows, and what its record holds, is what they would be had each
 * reading been posted to the right drain.
 */
import Database from 'better-sqlite3';
import fc from 'fast-check';
import { expect, it, vi } from 'vitest';
import type { EntryBody } from '../../src/domain/vocabulary/entry.ts';
import { nameOf } from '../../src/record/names.ts';
import { createDrainReader } from '../../src/store/sqlite/drain-reader.ts';
import { createFrameReader } from '../../src/store/sqlite/frames.ts';
import { type Ledger, openLedger, temporaryFile } from '../store/ledger.ts';
import { DEFAULT_POLICY } from '../support/policy.ts';
import {
  DRAINS,
  derivedIn,
  derivedOf,
  id,
  nameOfDrain,
  openWard,
  post,
  rightDrain,
  type Story,
  step,
  tell,
} from './device-story.ts';

vi.setConfig({ testTimeout: 300_000 });

/** The same readings, each posted to its drain, by a sender that knows no devices. */
async function postDirectly(ledger: Awaited<ReturnType<typeof openWard>>, { readings, assignments }: Story) {
  const messages = readings.flatMap((reading) => {
    const drain = rightDrain(reading, assignments);
    return drain === null ? [] : reading.told.map((told) => ({ ...told, drain }));
  });
  for (const { body, nowMs, drain } of messages.sort((a, b) => a.nowMs - b.nowMs)) {
    ledger.setClock(nowMs);
    const { device: _device, ...plain } = body;
    const outcome = await post(ledger, plain as EntryBody, nameOfDrain(drain));
    expect(outcome.kind, JSON.stringify(outcome)).toBe('recorded');
  }
}

/** What is read of each drain in one pass, for an export, is what the store answers about it. */
function readInOnePass({ store, db }: Ledger): void {
  const read = createDrainReader(db, () => DEFAULT_POLICY);
  for (const name of DRAINS.map(nameOfDrain)) {
    const [found, places] = [read(name), store.places(name)];
    const indexes = places.map(({ logIndex }) => logIndex);
    expect(found?.places(name)).toEqual(places);
    expect(found?.entriesAt(indexes)).toEqual(store.entriesAt(indexes));
    expect(derivedOf(found?.book)).toEqual(derivedOf(store.books(name).get(name)));
  }
}

/** What a receiver that took every issue of drains in turn holds in the end, versions and dates of issue aside. */
function recordOf(file: string): Readonly<Record<string, unknown>> {
  const db = new Database(file, { readonly: true });
  try {
    const textsIn = createFrameReader(db);
    const held = new Map<string, object>();
    for (const stored of db.prepare<[], string>('SELECT resources FROM issued ORDER BY rowid').pluck().all())
      for (const text of textsIn(stored)) {
        const { meta: _meta, issued: _issued, status, ...rest } = JSON.parse(text);
        const name = `${rest.resourceType}/${rest.id}`;
        if (rest.resourceType === 'Provenance') continue;
        // The registration itself, which a sender that knows no devices does not make.
        if (rest.resourceType === 'Device' && rest.id.startsWith('registered.')) continue;
        if (status === 'entered-in-error') held.delete(name);
        else held.set(name, rest);
      }
    return Object.fromEntries([...held].sort(([a], [b]) => (a < b ? -1 : 1)));
  } finally {
    db.close();
  }
}

it('whatever the order of assignments, corrections and posts, drains show what was read on them', async () => {
  await fc.assert(
    fc.asyncProperty(fc.array(step, { minLength: 4, maxLength: 24, size: 'max' }), async (steps) => {
      const [byDevice, direct] = [temporaryFile(), temporaryFile()];
      const ledger = await openWard(byDevice.file);
      const other = await openWard(direct.file);
      try {
        const story = await tell(ledger, steps);
        await postDirectly(other, story);
        expect(derivedIn(ledger)).toEqual(derivedIn(other));
        readInOnePass(ledger);
        expect(recordOf(byDevice.file)).toEqual(recordOf(direct.file));
        const unmatched = story.readings.filter(
          (each) => !each.isVoid && rightDrain(each, story.assignments) === null,
        );
        expect(ledger.store.unmatched(-1, 99).map(({ entryId }) => entryId)).toEqual(
          unmatched.map(({ key }) => nameOf(id(key))),
        );
        expect(ledger.store.unmatchedCount()).toBe(unmatched.length);
        // A sender that lost its answer is told the first one, wherever the reading is by now.
        for (const [n, resend] of story.again.entries())
          expect(await resend()).toEqual({ kind: 'replayed', receipt: story.receipts[n] });
        const before = derivedIn(ledger);
        await ledger.close();
        const reopened = openLedger(byDevice.file);
        expect(derivedIn(reopened)).toEqual(before);
        await reopened.close();
      } finally {
        await ledger.store.close().catch(() => undefined);
        await other.close();
        byDevice.remove();
        direct.remove();
      }
    }),
    { numRuns: Number(process.env.RUNS ?? 60) },
  );
});
