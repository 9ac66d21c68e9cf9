/** Messages that nothing could be made of: a stream of the ledger under the same promises as every entry. */
import { expect, test } from 'vitest';
import { verifyDatabase } from '../../src/cli/verify/database.ts';
import { placed } from '../support/drain-script.ts';
import { incoming, ledgerForEach, rowsOf } from './ledger.ts';

const ledger = ledgerForEach();
const FIRST = { hash: 'a1', body: '{"message":"one"}' };
const SECOND = { hash: 'b2', body: '{"message":"two"}' };
const DISMISSED = { type: 'dismissed', actor: { type: 'service' }, body: '{"message_sha256":"a1"}' } as const;
const waiting = () => ledger.store.unmapped(0, 10).map(({ seq, hash, body }) => ({ seq, hash, body }));

test('each is kept once, also after the ledger was opened again, and waits until it is settled', async () => {
  expect(await ledger.store.keepUnmapped(FIRST)).toBe(1);
  expect(await ledger.store.keepUnmapped(SECOND)).toBe(2);
  await ledger.reopen();
  expect(await ledger.store.keepUnmapped(FIRST)).toBe(1);
  expect(waiting()).toEqual([
    { seq: 1, ...FIRST },
    { seq: 2, ...SECOND },
  ]);
  expect(ledger.store.unmapped(1, 10)).toHaveLength(1);
  expect([
    await ledger.store.settleUnmapped('a1', DISMISSED),
    await ledger.store.settleUnmapped('a1', DISMISSED),
  ]).toEqual([true, false]);
  expect([waiting(), ledger.store.unmappedCount()]).toEqual([[{ seq: 2, ...SECOND }], 1]);
  expect([ledger.store.isUnmapped('a1'), ledger.store.isUnmapped('b2')]).toEqual([false, true]);
  expect(await ledger.store.keepUnmapped(FIRST)).toBe(1);
  expect(ledger.store.unmappedCount()).toBe(1);
});

test('is chained among the entries of drains, and verified with them', async () => {
  const told = placed('08:00', {});
  await ledger.store.keepUnmapped(FIRST);
  await ledger.record([incoming(told, told)]);
  await ledger.store.settleUnmapped('a1', DISMISSED);
  await ledger.record([
    incoming({ ...told, key: 'other' } as typeof told, { ...told, key: 'other' } as typeof told),
  ]);
  const rows = rowsOf(ledger.db);
  expect(rows.map(({ log_index }) => log_index)).toEqual([0, 1, 2, 3]);
  expect(rows.filter(({ stream }) => stream === 'hl7v2').map(({ seq, body }) => [seq, body])).toEqual([
    [1, FIRST.body],
    [2, DISMISSED.body],
  ]);
  const verify = () => verifyDatabase(ledger.file, { given: null, outside: [], onProgress() {} }).finding;
  // Nothing signed speaks of this ledger, and that is all there is to say of it.
  expect(verify()).toMatchObject({ kind: 'incomplete', where: 'the log' });
  ledger.db.exec('DROP TRIGGER payload_keeps_words');
  ledger.db.exec(`UPDATE payload SET body = '{"message":"else"}' WHERE log_index = 0`);
  expect(verify()?.kind).toBe('tampered');
});

test('cannot be taken back', async () => {
  await ledger.store.keepUnmapped(FIRST);
  await ledger.store.settleUnmapped('a1', DISMISSED);
  for (const change of [
    'DELETE FROM unmapped_message',
    'UPDATE unmapped_message SET settled_log = NULL',
    "UPDATE unmapped_message SET message_hash = 'c3'",
  ])
    expect(() => ledger.db.exec(change), change).toThrow(/append-only/);
});
