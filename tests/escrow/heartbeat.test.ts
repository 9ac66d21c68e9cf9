/** When the log says that it runs: silence is what is told, so that nothing is written while anything else is. */
import { afterEach, beforeEach, expect, test, vi } from 'vitest';
import { readHeartbeat } from '../../src/audit/heartbeat.ts';
import { type Heartbeats, startHeartbeats } from '../../src/escrow/heartbeat.ts';
import { createAuditEventReader } from '../../src/search/audit-events.ts';
import { type Ledger, openLedger, temporaryFile } from '../store/ledger.ts';

const START = Date.parse('2026-11-20T08:00:00Z');
let place: ReturnType<typeof temporaryFile>;
let ledger: Ledger;
let beats: Heartbeats;
let said: string[];

beforeEach(async () => {
  // The store's own turns of the event loop stay real.
  vi.useFakeTimers({ now: START, toFake: ['setTimeout', 'clearTimeout', 'Date'] });
  place = temporaryFile();
  ledger = openLedger(place.file);
  said = [];
  const tell = (_facts: object, message: string) => void said.push(message);
  beats = startHeartbeats({ store: ledger.store, log: { warn: tell, info: tell }, now: Date.now });
});
afterEach(async () => {
  beats.stop();
  await ledger.close();
  place.remove();
  vi.useRealTimers();
});

/** Moves the clock, and lets the store write what came of it. */
async function wait(seconds: number): Promise<void> {
  vi.advanceTimersByTime(seconds * 1000);
  for (let turn = 0; turn < 20; turn += 1) await new Promise(setImmediate);
}
const written = (): { stream: string; envelope: string; body: string }[] =>
  ledger.db
    .prepare('SELECT stream, envelope, body FROM ledger JOIN payload USING (log_index)')
    .all() as never;
const streams = (): string[] => written().map(({ stream }) => stream);
const atOf = (envelope: string): string => JSON.parse(envelope).recorded_at;

test('after a minute without an entry, and each minute from then on, by the service and since when', async () => {
  await wait(59.9);
  expect(streams()).toEqual([]);
  await wait(0.1);
  await wait(60);
  const all = written();
  expect(all.map(({ stream }) => stream)).toEqual(['heartbeat', 'heartbeat']);
  expect(all.map(({ envelope }) => atOf(envelope))).toEqual([
    '2026-11-20T08:01:00.000Z',
    '2026-11-20T08:02:00.000Z',
  ]);
  expect(JSON.parse(all[0]?.envelope ?? '')).toMatchObject({ type: 'heartbeat', actor: { type: 'service' } });
  expect(readHeartbeat(all[1]?.body ?? '')).toMatchObject({
    every_s: 60,
    running_since: '2026-11-20T08:00:00.000Z',
  });
});

test('none while anything else is written within the minute', async () => {
  for (let n = 0; n < 10; n += 1) {
    await wait(59);
    await ledger.store.configure(`{"n":${n}}`);
  }
  expect(new Set(streams())).toEqual(new Set(['configuration']));
  await wait(60);
  expect(streams().at(-1)).toBe('heartbeat');
});

test('one that could not be written is tried again each minute, and told once', async () => {
  ledger.db.exec(
    `CREATE TRIGGER obstacle BEFORE INSERT ON ledger BEGIN SELECT RAISE(ABORT, 'in the way'); END`,
  );
  for (let n = 0; n < 3; n += 1) await wait(60);
  expect(said).toEqual(['that the log runs could not be written; it is tried again']);
  ledger.db.exec('DROP TRIGGER obstacle');
  await wait(60);
  expect(streams()).toEqual(['heartbeat']);
});

test('is no event of anybody, as what anybody did is', async () => {
  await ledger.store.configure('{"n":1}');
  await wait(60);
  const eventOf = createAuditEventReader(ledger.db, 'http://example.org/test');
  expect([0, 1].map((place) => eventOf(place)?.resourceType)).toEqual(['AuditEvent', undefined]);
});

test('none once it was stopped', async () => {
  beats.stop();
  await wait(600);
  expect(streams()).toEqual([]);
});
