/** `erase`: whole closed drains gone for ever, the rest of the ledger as it was, and a tombstone that the verifier believes. */
import { type SpawnSyncReturns, spawn } from 'node:child_process';
import { once } from 'node:events';
import {
  copyFileSync,
  existsSync,
  mkdirSync,
  readdirSync,
  readFileSync,
  rmSync,
  writeFileSync,
} from 'node:fs';
import { join } from 'node:path';
import { setTimeout } from 'node:timers/promises';
import Database from 'better-sqlite3';
import { describe, expect, it, test } from 'vitest';
import { rawPublicKey } from '../../src/audit/checkpoint.ts';
import { openLedger } from '../store/ledger.ts';
import { NURSE } from '../support/drain-script.ts';
import { drain, key, LOG, sign } from './closed-drains.ts';
import { CLI, closedLedgerForEach } from './closed-ledgers.ts';
import { tamper } from './tampered.ts';
import { outcome, verify } from './verified.ts';

const PUBLIC = rawPublicKey(key);
const ledgers = closedLedgerForEach();

const BY = ['--by', 'Practitioner/n1', '--reason', 'order 7 of the court'];
const PATIENT = ['--patient', 'Patient/p'];
const erase = (...args: string[]): SpawnSyncReturns<string> => ledgers.run(['erase', ...args]);

function rows<T>(sql: string, file = ledgers.database): T[] {
  const db = new Database(file, { readonly: true });
  try {
    return db.prepare<[], T>(sql).all();
  } finally {
    db.close();
  }
}

/** Of all that lies in the folder of the ledger, byte by byte. */
function isAnywhere(text: string): boolean {
  return readdirSync(ledgers.folder, { recursive: true, encoding: 'utf8', withFileTypes: true })
    .filter((each) => each.isFile())
    .some((each) => readFileSync(join(each.parentPath, each.name)).includes(text));
}

describe('of all drains of a patient', () => {
  it('leaves no byte of what was charted and issued, in any file', () => {
    mkdirSync(`${ledgers.database}.exports/job`, { recursive: true });
    for (const file of ['.search', '.kept', '.exports/job/Observation.1.ndjson'])
      writeFileSync(ledgers.database + file, 'made from what Patient/p had');
    for (const text of ['Patient/p', 'placed-left', 'a-right']) expect(isAnywhere(text), text).toBe(true);

    expect(erase(...PATIENT, ...BY)).toMatchObject({ status: 0, stderr: '' });

    for (const text of ['Patient/p', 'placed-left', 'a-right']) expect(isAnywhere(text), text).toBe(false);
    expect(isAnywhere('Patient/q')).toBe(true);
  });

  it('verifies after, against what was signed before, and is told of', () => {
    const entries = rows(
      `SELECT 1 FROM ledger WHERE stream IN ('${drain('left')}', '${drain('right')}')`,
    ).length;
    expect(erase(...PATIENT, ...BY).status).toBe(0);

    const report = verify(ledgers.database, [], PUBLIC);
    expect(outcome(report)).toEqual([0, null]);
    const both = [drain('left'), drain('right')].sort().join(', ');
    expect(report.remarks.join('\n')).toContain(
      `${entries} entries of ${both} were lawfully erased: order 7 of the court`,
    );
  });

  it('leaves every other entry as it was, to the byte', () => {
    const OTHERS = `SELECT log_index, envelope, hash, hex(salt) AS salt, body, receipt, resources
      FROM ledger JOIN payload USING (log_index) LEFT JOIN issued USING (log_index)
      WHERE stream NOT IN ('${drain('left')}', '${drain('right')}', 'erasure') ORDER BY log_index, issued.drain`;
    const before = rows(OTHERS);
    erase(...PATIENT, ...BY);
    expect(before.length).toBeGreaterThan(30);
    expect(rows(OTHERS)).toEqual(before);
    expect(rows('SELECT log_index, envelope, hash FROM ledger').slice(0, -1)).toEqual(
      rows('SELECT log_index, envelope, hash FROM ledger', ledgers.good),
    );
  });

  it('says what stays, and what it cannot reach', () => {
    const { stdout } = erase(...PATIENT, ...BY);
    expect(stdout).toContain(
      `${[drain('left'), drain('right')].sort().join(', ')} with 0 kept HL7 v2 messages erased`,
    );
    expect(stdout).toContain('who read them');
    expect(stdout).toContain('copies, backups, exports and bundles');
    expect(stdout).toMatch(/\nDone: what the ledger holds now verifies.\n$/);
  });

  it('says who ordered it and why, in an entry of the ledger', () => {
    erase(...PATIENT, ...BY);
    const [told] = rows<{ actor: string; body: string }>(
      `SELECT envelope ->> '$.actor.reference' AS actor, body FROM ledger JOIN payload USING (log_index) WHERE stream = 'erasure'`,
    );
    expect(told?.actor).toBe('Practitioner/n1');
    expect(JSON.parse(told?.body ?? '')).toMatchObject({
      kind: 'erased',
      drains: [drain('left'), drain('right')].sort(),
      reason: 'order 7 of the court',
    });
  });

  it('goes on being charted: other drains are as before, and what follows verifies', async () => {
    erase(...PATIENT, ...BY);
    const ledger = openLedger(ledgers.database, { origin: LOG });
    expect(ledger.store.drains('', 100)).toEqual(
      rows<{ drain: string }>('SELECT drain FROM drain ORDER BY drain', ledgers.good)
        .map((row) => row.drain)
        .filter((name) => name !== drain('left') && name !== drain('right')),
    );
    expect(ledger.store.books(drain('left')).size).toBe(0);
    expect(ledger.store.books(drain('alone')).get(drain('alone'))?.members.size).toBe(5);
    expect(ledger.store.log.newestFault(1000)).toBeNull();
    await ledger.store.checkpoint(sign);
    await ledger.close();
    expect(outcome(verify(ledgers.database, [], PUBLIC))).toEqual([0, null]);
  });
});

test('a dry run says what it would do and writes nothing, also while the service has the ledger', async () => {
  const ledger = openLedger(ledgers.database, { origin: LOG });
  const before = readFileSync(ledgers.database);
  const { status, stdout } = erase(...PATIENT, '--dry-run');
  await ledger.close();
  expect([status, stdout]).toEqual([0, expect.stringContaining('would be erased')]);
  expect(stdout).toContain('Nothing was written.');
  expect(readFileSync(ledgers.database).equals(before)).toBe(true);
});

test.each([
  ['a drain that is in', ['--drain', drain('still')], 'erase them together with --patient'],
  [
    'a patient one of whose drains is in',
    ['--patient', 'Patient/q'],
    `${drain('still')} is not charted as removed`,
  ],
  ['a drain that is to be delivered yet', ['--drain', drain('waiting')], 'waits to be delivered to ehr'],
  [
    'a drain of which a delivery is set aside',
    ['--drain', drain('refused')],
    'has a delivery to ehr that is dead',
  ],
  [
    'a drain of whose device something is unmatched',
    ['--drain', drain('watched')],
    'readings match no drain: 1',
  ],
  ['one of several drains of a patient', ['--drain', drain('left')], 'is one of 2 drains of a patient'],
  ['a drain that there is not', ['--drain', 'nodrain'], 'there is no such drain: nodrain'],
  ['a patient that nobody knows', ['--patient', 'Patient/x'], 'no drain is linked to the patient Patient/x'],
])('%s is not erased', (_, wanted, words) => {
  const { status, stderr } = erase(...wanted, ...BY);
  expect([status, stderr]).toEqual([64, expect.stringContaining(words)]);
  expect(rows('SELECT 1 FROM erased')).toEqual([]);
});

test.each([
  ['by whom', [...PATIENT, '--reason', 'x'], '--by'],
  ['why', [...PATIENT, '--by', 'Practitioner/n1'], '--reason is missing'],
  ['what', BY, 'no such command: erase'],
  ['one thing', [...PATIENT, '--drain', 'x', ...BY], 'no such command: erase'],
])('it has to be said %s', (_, args, words) => {
  expect(erase(...args)).toMatchObject({ status: 64, stderr: expect.stringContaining(words) });
});

test('while the service has the ledger nothing is erased', async () => {
  const ledger = openLedger(ledgers.database, { origin: LOG });
  const { status, stderr } = erase(...PATIENT, ...BY);
  await ledger.close();
  expect([status, stderr]).toEqual([64, expect.stringContaining('is in use by another process')]);
});

test('of a ledger that does not verify nothing is erased: what is wrong could not be seen any more', () => {
  tamper(ledgers.database, (db) =>
    db.exec("UPDATE payload SET body = replace(body, '60', '61') WHERE body LIKE '%:60%'"),
  );
  const { status, stderr } = erase(...PATIENT, ...BY);
  expect([status, stderr]).toEqual([64, expect.stringContaining('its payload is not the one it commits to')]);
  expect(rows('SELECT 1 FROM erased')).toEqual([]);
});

test('killed at any moment nothing is half erased, and run again it is done', async () => {
  for (const ms of [250, 330, 400, 450, 500, 560, 620]) {
    copyFileSync(ledgers.good, ledgers.database);
    for (const file of ['-wal', '-shm', '.erasing']) rmSync(ledgers.database + file, { force: true });
    const child = spawn(process.execPath, [CLI, 'erase', ...PATIENT, ...BY], { env: ledgers.environment() });
    await setTimeout(ms);
    child.kill('SIGKILL');
    if (child.exitCode === null) await once(child, 'exit');
    expect(outcome(verify(ledgers.database, [], PUBLIC)), `${ms} ms`).toEqual([0, null]);
    // One that was done before it was killed is none that was cut: whose drains those were is not known any more.
    const isDone = rows('SELECT 1 FROM erased').length > 0 && !existsSync(`${ledgers.database}.erasing`);
    const again = isDone ? ['--drain', drain('left')] : PATIENT;
    expect(erase(...again, ...BY)).toMatchObject({ status: 0, stderr: '' });
    expect(isAnywhere('Patient/p'), `${ms} ms`).toBe(false);
    expect(rows("SELECT 1 FROM ledger WHERE stream = 'erasure'")).toHaveLength(1);
  }
});

describe('a verifier sees', () => {
  const changed = async (change: (db: Database.Database) => void): Promise<string | null> => {
    erase(...PATIENT, ...BY);
    tamper(ledgers.database, change);
    return outcome(verify(ledgers.database, [], PUBLIC))[1];
  };
  const OF_LEFT = `(SELECT log_index FROM ledger WHERE stream = '${drain('left')}' AND seq = 3)`;

  it('a payload that is missing and that no tombstone names', async () => {
    const found = await changed((db) =>
      db.exec(`DELETE FROM payload WHERE log_index = (
      SELECT log_index FROM ledger WHERE stream = '${drain('alone')}' AND seq = 3)`),
    );
    expect(found).toMatch(/stream .*, 3\): its payload is missing/);
  });

  it('a payload that is here though a tombstone names it', async () => {
    const found = await changed((db) =>
      db.exec(
        `INSERT INTO payload (log_index, salt, body, receipt) SELECT log_index, randomblob(16), '{}', '' FROM ledger WHERE log_index = ${OF_LEFT}`,
      ),
    );
    expect(found).toMatch(/its payload is here, and entry \d+ says that it was erased/);
  });

  it('a tombstone that names more than it did', async () => {
    const found = await changed((db) =>
      db.exec(
        "UPDATE payload SET body = json_set(body, '$.entries[0][1]', 99) WHERE log_index = (SELECT log_index FROM ledger WHERE stream = 'erasure')",
      ),
    );
    expect(found).toMatch(/\(stream erasure, 1\): its payload is not the one it commits to/);
  });

  it('an identifier that is back', async () => {
    const found = await changed((db) =>
      db.exec(
        `INSERT INTO identity SELECT envelope ->> '$.entry', 'urn:x', 'y', 'z', log_index FROM ledger WHERE log_index = ${OF_LEFT}`,
      ),
    );
    expect(found).toBe('the identifiers of senders: there are some that belong to no entry');
  });

  it('texts that are back', async () => {
    const found = await changed((db) =>
      db.exec(
        `INSERT INTO issued (rowid, drain, log_index, resources) SELECT 0, 'x', log_index, '[]' FROM ledger WHERE log_index = ${OF_LEFT}`,
      ),
    );
    expect(found).not.toBeNull();
  });
});

test('a trigger keeps what no tombstone names, and takes none for one that is none', () => {
  erase(...PATIENT, ...BY);
  const db = new Database(ledgers.database);
  try {
    for (const table of ['payload', 'identity', 'issued', 'erased'])
      expect(() => db.exec(`DELETE FROM ${table}`), table).toThrow('the ledger is append-only');
    expect(() => db.exec("INSERT INTO erased VALUES (0, 'x', 0)")).toThrow('no entry of the ledger says');
  } finally {
    db.close();
  }
});

test('steps of deliveries are gone too, and no later one bears the number of one of them', async () => {
  const numbers = (): number[] =>
    rows<{ event: number }>('SELECT event FROM delivery_event ORDER BY event').map(({ event }) => event);
  const last = numbers().at(-1) ?? 0;
  const names = [drain('refused')];
  let ledger = openLedger(ledgers.database, { origin: LOG });
  await ledger.store.erase(NURSE, { drains: names, messages: [], reason: 'invented' });
  await ledger.close();
  expect(rows(`SELECT 1 FROM delivery_event WHERE drain = '${names[0]}'`)).toEqual([]);
  expect(Math.max(0, ...numbers())).toBeLessThan(last);

  ledger = openLedger(ledgers.database, { origin: LOG });
  const now = Date.now();
  const [next] = await ledger.store.claim('ehr', now, now + 500, 1, []);
  if (next === undefined) throw new Error('nothing waits to be delivered');
  await ledger.store.settle(
    [{ delivery: next, settlement: { state: 'delivered', outcome: null, taken: [] } }],
    now,
  );
  await ledger.store.checkpoint(sign);
  await ledger.close();

  expect(numbers().filter((event) => event > last)).toHaveLength(
    numbers().filter((event) => event >= last).length,
  );
  const report = verify(ledgers.database, [], PUBLIC);
  expect(outcome(report)).toEqual([0, null]);
  expect(report.remarks.join('\n')).toMatch(/\d+ delivery events were lawfully erased/);
  tamper(ledgers.database, (db) =>
    db.exec(
      `INSERT INTO delivery_event (event, at_ms, target, drain, kind, attempts, salt) VALUES (${last}, 0, 'ehr', 'x', 'claimed', 1, randomblob(16))`,
    ),
  );
  expect(outcome(verify(ledgers.database, [], PUBLIC))[1]).toMatch(
    /^delivery event \d+: it is here, and entry \d+ says that it was erased/,
  );
});
