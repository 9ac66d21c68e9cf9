/** What is told of the ledger as it is written: in its order, only what is durable, with all drains that it concerns. */
import { beforeEach, expect, test } from 'vitest';
import type { Author } from '../../src/domain/vocabulary/entry.ts';
import type { Committed } from '../../src/store/port.ts';
import { dec, level, placed, setUp, type Told, WET_UNIT } from '../support/drain-script.ts';
import { incoming, ledgerForEach } from './ledger.ts';

const PLACED = placed('08:00', { patient: { reference: 'Patient/p' } });
const SIBLING = { ...placed('08:00', { patient: { reference: 'Patient/p' } }), key: 'sibling' } as Told;

const ledger = ledgerForEach();
let told: { readonly entry: Committed; readonly concerns: readonly string[] }[];
beforeEach(() => {
  told = [];
  ledger.store.listen((entry, concerns) => told.push({ entry, concerns }));
});

const tell = (...of: readonly Told[]) =>
  Promise.all(of.map((each) => ledger.record([incoming(each, PLACED)])));
const kinds = (): string[] => told.map(({ entry }) => entry.kind);

test('each entry once, in the order of the ledger, and the same as is read of it later', async () => {
  await tell(PLACED);
  await tell(setUp('08:00', 0), level('a', '09:00', 60), level('b', '10:00', 80));
  expect(kinds()).toEqual(['placed', 'set-up', 'reading', 'reading']);
  expect(ledger.store.committedAfter(-1, 100)).toEqual(told.map(({ entry }) => entry));
  expect(ledger.store.committedAfter(told[1]?.entry.logIndex ?? 0, 1)).toEqual([told[2]?.entry]);
  expect(ledger.store.newestLogIndex()).toBe(told[3]?.entry.logIndex);
});

test('it is told before its sender is answered', async () => {
  await tell(PLACED);
  expect(kinds()).toEqual(['placed']);
});

test('with all drains of the patient', async () => {
  await tell(PLACED);
  await ledger.record([incoming(SIBLING, SIBLING)]);
  const drains = [PLACED, SIBLING].map((each) => incoming(each, each).drain).sort();
  await tell(setUp('08:00', 0));
  expect([...(told.at(-1)?.concerns ?? [])].sort()).toEqual(drains);
});

test('nothing of an interim reading, now and when it is read later', async () => {
  const author: Author = { type: 'device', identifier: { system: 'urn:example:test', value: 'pump' } };
  const unit = { ...WET_UNIT, charted_every_min: dec(15) };
  const sent = (key: string, time: string, ml: number): Told => ({ ...level(key, time, ml), author });
  await tell(PLACED, setUp('08:00', 0, unit));
  await tell(sent('a', '09:00', 60), sent('b', '09:05', 65), sent('c', '09:15', 70));
  expect(kinds()).toEqual(['placed', 'set-up', 'reading', 'reading']);
  expect(ledger.store.committedAfter(-1, 100)).toEqual(told.map(({ entry }) => entry));
  expect(told.map(({ entry }) => entry.seq)).toEqual([1, 2, 3, 5]);
});

test('nothing of what is refused, sent again, previewed, or taken back with the rest of its unit', async () => {
  await tell(PLACED, setUp('08:00', 0));
  await tell(setUp('08:00', 0));
  const good = incoming(level('a', '09:00', 60), PLACED);
  const bad = { ...incoming(level('b', '09:00', 60), PLACED), drain: 'none' };
  await ledger.record([good, bad]);
  await ledger.record([bad]);
  expect(kinds()).toEqual(['placed', 'set-up']);
});

test('nothing of a group that could not be written', async () => {
  await tell(PLACED);
  ledger.db.exec("CREATE TRIGGER no_more BEFORE INSERT ON payload BEGIN SELECT RAISE(ABORT, 'no'); END");
  await expect(tell(setUp('08:00', 0))).rejects.toThrow();
  ledger.db.exec('DROP TRIGGER no_more');
  expect(kinds()).toEqual(['placed']);
  await tell(setUp('08:00', 0));
  expect(kinds()).toEqual(['placed', 'set-up']);
});

test('once of a group that was written again without its bad one', async () => {
  await tell(PLACED);
  ledger.db.exec(`CREATE TRIGGER not_this BEFORE INSERT ON payload WHEN NEW.body LIKE '%"level_ml":66%'
    BEGIN SELECT RAISE(ABORT, 'no'); END`);
  const [good, bad] = [tell(setUp('08:00', 0)), tell(level('bad', '09:00', 66))];
  await good;
  await expect(bad).rejects.toThrow();
  expect(kinds()).toEqual(['placed', 'set-up']);
});

test('nothing of the configuration, which is of no drain', async () => {
  await ledger.store.configure('{"a":1}');
  expect([told, ledger.store.committedAfter(-1, 10)]).toEqual([[], []]);
  expect(ledger.store.newestLogIndex()).toBe(0);
});

test('of an entry that shares its group with what the service itself writes', async () => {
  const entered = tell(PLACED);
  const noticed = ledger.store.notice({ type: 'checkpoint-key', actor: { type: 'service' }, body: '{}' });
  const configured = ledger.store.configure('{"a":1}');
  await Promise.all([entered, noticed, configured]);
  await tell(setUp('08:00', 0));
  expect(told.map(({ entry }) => [entry.logIndex, entry.kind])).toEqual([
    [0, 'placed'],
    [3, 'set-up'],
  ]);
});

test('nothing to who has stopped listening', async () => {
  const heard: string[] = [];
  const stop = ledger.store.listen((entry) => heard.push(entry.kind));
  await tell(PLACED);
  stop();
  await tell(setUp('08:00', 0));
  expect(heard).toEqual(['placed']);
});
