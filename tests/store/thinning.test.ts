/** Which checkpoints a log keeps of its past: the last of each minute, and whatever a witness cosigned. */
import { generateKeyPairSync } from 'node:crypto';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { rawPublicKey, signCheckpoint } from '../../src/audit/checkpoint.ts';
import { writeFirstKey } from '../../src/audit/notices.ts';
import { outcome, verify } from '../cli/verified.ts';
import { type Ledger, openLedger, temporaryFile } from './ledger.ts';

const DAY = 24 * 3600_000;
const START = Date.parse('2126-01-01T08:00:00Z');
const key = generateKeyPairSync('ed25519').privateKey;
let place: ReturnType<typeof temporaryFile>;
let ledger: Ledger;
let now: number;

beforeEach(async () => {
  place = temporaryFile();
  now = START;
  ledger = openLedger(place.file, { now: () => now });
  await ledger.store.notice({
    type: 'checkpoint-key',
    actor: { type: 'service' },
    body: writeFirstKey(rawPublicKey(key)),
  });
});
afterEach(async () => {
  await ledger.close();
  place.remove();
});

/** An entry at this time, and a checkpoint of all up to it. */
async function checkpointAt(ms: number): Promise<void> {
  now = ms;
  await ledger.store.configure(`{"at":${ms}}`);
  await ledger.store.checkpoint((head) => signCheckpoint({ origin: 'store.example', ...head }, key));
}
const sizes = (): number[] =>
  ledger.db.prepare<[], number>('SELECT size FROM checkpoint ORDER BY size').pluck().all();
const drop = (size: number) => () => ledger.db.prepare('DELETE FROM checkpoint WHERE size = ?').run(size);

/** Three in each of three minutes, of sizes 2 to 10. */
async function threeMinutes(): Promise<void> {
  for (const minute of [0, 1, 2])
    for (const second of [1, 30, 59]) await checkpointAt(START + (60 * minute + second) * 1000);
}

test('within 30 days all stay, then the last of each minute; the log verifies as before', async () => {
  await threeMinutes();
  await checkpointAt(START + 30 * DAY);
  expect(sizes()).toEqual([2, 3, 4, 5, 6, 7, 8, 9, 10, 11]);
  await checkpointAt(START + 30 * DAY + 90_000);
  // Of the second minute those that are older than that by now, to the second.
  expect(sizes()).toEqual([4, 6, 7, 8, 9, 10, 11, 12]);
  await checkpointAt(START + 31 * DAY);
  expect(sizes()).toEqual([4, 7, 10, 11, 12, 13]);
  const report = verify(place.file, [], rawPublicKey(key));
  expect(outcome(report)).toEqual([0, null]);
  expect(report.remarks.join()).toContain('6 checkpoints, the newest of 13 entries');
});

test('what a witness cosigned stays', async () => {
  await threeMinutes();
  await ledger.store.cosign(3, [{ witness: 'w', line: 'l' }]);
  await checkpointAt(START + 31 * DAY);
  expect(sizes()).toEqual([3, 4, 7, 10, 11]);
});

test('many are thinned little by little, also by a service that was started again', async () => {
  for (let n = 0; n < 25; n += 1) await checkpointAt(START + n * 1000);
  await checkpointAt(START + 31 * DAY);
  expect(sizes()).toHaveLength(16);
  await ledger.close();
  ledger = openLedger(place.file, { now: () => now });
  for (let n = 1; n < 4; n += 1) await checkpointAt(START + 31 * DAY + n * 60_000);
  expect(sizes()).toEqual([26, 27, 28, 29, 30]);
});

test('nobody can delete more than that: the last of a minute, a newer one, a cosigned one, the newest', async () => {
  await threeMinutes();
  for (const size of [2, 10]) expect(drop(size)).toThrow('the ledger is append-only');
  await ledger.store.cosign(2, [{ witness: 'w', line: 'l' }]);
  // Entries alone: nothing is thinned yet.
  now = START + 31 * DAY;
  await ledger.store.configure('{"late":1}');
  for (const size of [2, 4, 7, 10]) expect(drop(size)).toThrow('the ledger is append-only');
  expect(drop(3)).not.toThrow();
  expect(drop(5)).not.toThrow();
  expect(sizes()).toEqual([2, 4, 6, 7, 8, 9, 10]);
});
