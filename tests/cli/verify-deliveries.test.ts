/** `verify` on steps of deliveries that somebody did something to: each fails with its own message. */
import { copyFileSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type Database from 'better-sqlite3';
import { afterAll, beforeAll, expect, it, test } from 'vitest';
import { openLedger } from '../store/ledger.ts';
import * as by from './tampered.ts';
import { outcome, verify } from './verified.ts';

const folder = mkdtempSync(join(tmpdir(), 'verify-deliveries-'));
const good = join(folder, 'good.db');
const NOW = 2_000_000_000_000;
const WHO = { author: { type: 'person', reference: 'Practitioner/n1' }, reason: 'r', client: 'c' } as const;

/** Steps 1 and 2: two claims in one write, entry 16. Step 3: refused, entry 17. Step 4: asked for again, entry 18. */
beforeAll(async () => {
  await by.makeLedger(good);
  const ledger = openLedger(good, { origin: by.LOG });
  const [first] = await ledger.store.claim('ehr', NOW, NOW + 500, 9, []);
  if (first === undefined) throw new Error('nothing was claimed');
  const settlement = { state: 'dead', outcome: { why: 'HTTP 422' }, taken: [] } as const;
  await ledger.store.settle([{ delivery: first, settlement }], NOW + 1);
  await ledger.store.requeue({ target: 'ehr' }, WHO, NOW + 2);
  await ledger.store.checkpoint(by.sign(by.key));
  await ledger.close();
});
afterAll(() => rmSync(folder, { recursive: true }));

let copies = 0;
function changed(change: (db: Database.Database) => void): string {
  copies += 1;
  const file = join(folder, `copy-${copies}.db`);
  copyFileSync(good, file);
  by.tamper(file, change);
  return file;
}

it('is ok where nothing was done to them, and says how many there are', () => {
  const { finding, remarks } = verify(good);
  expect(finding).toBeNull();
  expect(remarks).toContain('4 delivery events, from number 1 on');
});

test.each<[string, number, (db: Database.Database) => void, string]>([
  [
    'told otherwise',
    1,
    (db) => db.exec(`UPDATE delivery_event SET kind = 'delivered', detail = NULL WHERE event = 3`),
    'delivery event 3: it is not as entry 17 tells it',
  ],
  [
    'backdated',
    1,
    (db) => db.exec('UPDATE delivery_event SET at_ms = at_ms - 1 WHERE event = 2'),
    'delivery event 2: it is not as entry 16 tells it',
  ],
  [
    'ordered by somebody else',
    1,
    (db) => db.exec(`UPDATE delivery_event SET actor = replace(actor, 'n1', 'n2') WHERE event = 4`),
    'delivery event 4: it is not as entry 18 tells it',
  ],
  [
    'without its salt',
    1,
    (db) => db.exec('UPDATE delivery_event SET salt = NULL WHERE event = 3'),
    'delivery event 3: it is not as entry 17 tells it',
  ],
  [
    'swapped with the next of the same write',
    1,
    (db) =>
      db.exec(
        'UPDATE delivery_event SET event = -1 WHERE event = 1; UPDATE delivery_event SET event = 1 WHERE event = 2; UPDATE delivery_event SET event = 2 WHERE event = -1',
      ),
    'delivery event 1: what stands there is delivery event 2 of entry 16',
  ],
  [
    'swapped with one of another write',
    1,
    (db) =>
      db.exec(
        'UPDATE delivery_event SET event = -1 WHERE event = 2; UPDATE delivery_event SET event = 2 WHERE event = 4; UPDATE delivery_event SET event = 4 WHERE event = -1',
      ),
    'delivery event 2: what stands there is delivery event 4 of entry 18',
  ],
  [
    'dropped from the middle',
    2,
    (db) => db.exec('DELETE FROM delivery_event WHERE event = 2'),
    'delivery event 2: it is missing: entry 16 tells of it',
  ],
  [
    'dropped at the end',
    2,
    (db) => db.exec('DELETE FROM delivery_event WHERE event = 4'),
    'delivery event 4: it is missing: entry 18 tells of it',
  ],
  [
    'all dropped',
    2,
    (db) => db.exec('DELETE FROM delivery_event'),
    'delivery event 1: it is missing: entry 16 tells of it',
  ],
  [
    'added at the end',
    1,
    (db) =>
      db.exec(`INSERT INTO delivery_event (at_ms, target, kind, attempts, salt)
        SELECT at_ms, target, 'parked', 0, salt FROM delivery_event WHERE event = 4`),
    'delivery event 5: no entry tells of it',
  ],
  [
    'added before the first, as if from before the log vouched for any',
    1,
    (db) =>
      db.exec(
        `INSERT INTO delivery_event (event, at_ms, target, kind, attempts) VALUES (0, 1, 'ehr', 'started', 0)`,
      ),
    'delivery event 0: no entry tells of it',
  ],
  [
    'of an entry whose list was edited with its commitments',
    1,
    (db) => {
      by.editBody(db, 18, (body) => body.replace('"first":4', '"first":5'));
      by.rehash(db);
      db.exec('DELETE FROM checkpoint WHERE size > 18');
    },
    'entry 18 (stream delivery, 3): it tells of delivery event 5, and 4 is next',
  ],
])('a step %s is found: %i', (_name, code, change, said) => {
  expect(outcome(verify(changed(change)))).toEqual([code, said]);
});

it('from before the log vouched for any stay as they are, and their number is told', async () => {
  const file = join(folder, 'older.db');
  await by.makeLedger(file);
  by.tamper(file, (db) =>
    db.exec(
      `INSERT INTO delivery_event (at_ms, target, kind, attempts) VALUES (1, 'ehr', 'started', 0), (2, 'ehr', 'parked', 3)`,
    ),
  );
  const ledger = openLedger(file, { origin: by.LOG });
  await ledger.store.noteTarget('ehr', 'resumed', NOW, null, WHO);
  await ledger.store.checkpoint(by.sign(by.key));
  await ledger.close();
  const { finding, remarks } = verify(file);
  expect(finding).toBeNull();
  expect(remarks.slice(1, 3)).toEqual([
    '1 delivery events, from number 3 on',
    '2 delivery events are from before the log vouched for any',
  ]);
});

it('are written with their entry or not at all', async () => {
  const file = changed(() => {});
  const ledger = openLedger(file, { origin: by.LOG });
  ledger.db.exec(
    `CREATE TRIGGER obstacle BEFORE INSERT ON ledger WHEN NEW.stream = 'delivery' BEGIN SELECT RAISE(ABORT, 'in the way'); END`,
  );
  await expect(ledger.store.noteTarget('ehr', 'parked', NOW, null, null)).rejects.toThrow(
    'nothing was written',
  );
  ledger.db.exec('DROP TRIGGER obstacle');
  await ledger.store.noteTarget('ehr', 'closed', NOW, null, null);
  expect(ledger.store.deliveryEvents({}, 4, 9).map(({ event, kind }) => [event, kind])).toEqual([
    [5, 'closed'],
  ]);
  await ledger.close();
  expect(outcome(verify(file))).toEqual([0, null]);
});
