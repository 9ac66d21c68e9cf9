/** `retention`: whole closed drains into bundles that verify, said in the ledger; nothing is deleted, and a kill leaves nothing half done. */
import { type SpawnSyncReturns, spawn, spawnSync } from 'node:child_process';
import { createHash, generateKeyPairSync } from 'node:crypto';
import { once } from 'node:events';
import { copyFileSync, cpSync, existsSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { setTimeout } from 'node:timers/promises';
import Database from 'better-sqlite3';
import { beforeEach, expect, it, test } from 'vitest';
import { rawPublicKey, writeVerifierKey } from '../../src/audit/checkpoint.ts';
import { writeRotation } from '../../src/audit/notices.ts';
import { openLedger } from '../store/ledger.ts';
import { drain, key, LOG, sign } from './closed-drains.ts';
import { CLI, closedLedgerForEach } from './closed-ledgers.ts';
import { tamper } from './tampered.ts';
import { outcome, verify } from './verified.ts';

const PUBLIC = rawPublicKey(key);
const ledgers = closedLedgerForEach();
const { good } = ledgers;
let database: string;
let archives: string;
beforeEach(() => {
  database = ledgers.database;
  archives = join(ledgers.folder, 'archives');
});

const BY = ['--by', 'Practitioner/n1', '--reason', 'local policy 7'];
const environment = (more: NodeJS.ProcessEnv = {}): NodeJS.ProcessEnv =>
  ledgers.environment({ DRAINLEDGER_RETENTION_DAYS: '30', DRAINLEDGER_ARCHIVE: archives, ...more });
const retention = (args: readonly string[], more: NodeJS.ProcessEnv = {}): SpawnSyncReturns<string> =>
  ledgers.run(['retention', ...args], environment(more));

function told(): { actor: string; body: string }[] {
  const db = new Database(database, { readonly: true });
  const rows = db
    .prepare<[], { actor: string; body: string }>(
      `SELECT envelope ->> '$.actor.reference' AS actor, body FROM ledger JOIN payload USING (log_index)
       WHERE stream = 'retention' ORDER BY seq`,
    )
    .all();
  db.close();
  return rows;
}

const bundleVerified = (path: string) => {
  const args = [join(path, 'verify.mjs'), path, '--key', writeVerifierKey(LOG, PUBLIC)];
  return spawnSync(process.execPath, args, { env: {}, encoding: 'utf8' }).status;
};

/** Names of archives, which begin with the first of their drains, in the order of the ledger's drains. */
const DUE = [[drain('left'), drain('right')].sort(), [drain('alone')]].sort();
const beginnings = (names: readonly string[]): string[] =>
  names.map((name) => name.split('-')[0] ?? '').sort();
const FIRSTS = DUE.map(([first]) => first);

const HELD = [
  `held back: ${drain('still')} is not charted as removed\n`,
  `held back: ${drain('waiting')} waits to be delivered to ehr\n`,
  `held back: ${drain('refused')} has a delivery to ehr that is dead: requeue it, skip it, or wait\n`,
  `held back: ${drain('watched')} was on a device whose readings match no drain: 1 of them\n`,
];

it('is off where nothing was said of it, and takes nobody’s word but a person’s', () => {
  for (const [args, more, said] of [
    [
      BY,
      { DRAINLEDGER_RETENTION_DAYS: undefined },
      'DRAINLEDGER_RETENTION_DAYS is not set: nothing is archived',
    ],
    [BY, { DRAINLEDGER_ARCHIVE: undefined }, 'DRAINLEDGER_ARCHIVE is not set'],
    [BY, { DRAINLEDGER_RETENTION_DAYS: '0' }, "DRAINLEDGER_RETENTION_DAYS '0' is no number of days"],
    [['--reason', 'x'], {}, '--by  is no reference'],
    [['--by', 'Practitioner/n1'], {}, '--reason is missing'],
  ] as const) {
    const { status, stderr } = retention([...args], more);
    expect({ status, stderr }).toEqual({ status: 64, stderr: expect.stringContaining(said) });
  }
  expect(existsSync(archives)).toBe(false);
  expect(told()).toEqual([]);
});

it('says beforehand what it would do, and why not the rest, and writes nothing', () => {
  const before = readFileSync(database);
  const { status, stdout } = retention(['--dry-run']);
  expect(status).toBe(0);
  expect(stdout).toContain('0 archived before, 1 charted too lately, 4 held back, 2 due\n');
  for (const line of HELD) expect(stdout).toContain(line);
  for (const drains of DUE) expect(stdout).toContain(`would archive ${drains.join(', ')}\n`);
  expect(readFileSync(database).equals(before)).toBe(true);
  expect(existsSync(archives)).toBe(false);
});

it('archives each patient whose drains are all closed, and the ledger says of each what, where, by whom and why', () => {
  expect(retention(BY)).toMatchObject({ status: 0, stderr: '' });
  const names = readdirSync(archives);
  expect(beginnings(names)).toEqual(FIRSTS);
  for (const name of names) expect(bundleVerified(join(archives, name))).toBe(0);
  const said = told().map(({ actor, body }) => ({ actor, ...JSON.parse(body) }));
  expect(said.map(({ drains }) => drains).sort()).toEqual(DUE);
  for (const each of said) {
    const manifest = readFileSync(join(archives, each.bundle, 'manifest.json'));
    expect(each).toEqual({
      actor: 'Practitioner/n1',
      kind: 'archived',
      bundle: each.bundle,
      covered: expect.any(Number),
      drains: JSON.parse(manifest.toString()).about.drains,
      entries: JSON.parse(manifest.toString()).entries,
      manifest_sha256: createHash('sha256').update(manifest).digest('hex'),
      older_than_days: 30,
      reason: 'local policy 7',
    });
  }
  const report = verify(database, [], PUBLIC);
  expect(outcome(report)).toEqual([0, null]);
  for (const { bundle, drains, manifest_sha256 } of said)
    expect(report.remarks.join('\n')).toContain(
      `the archive ${bundle} of ${drains.join(', ')}: its manifest is ${manifest_sha256}`,
    );
});

it('holds back what no checkpoint covers, as an archive of it would prove nothing', () => {
  const drop = (which: string) => tamper(database, (db) => db.exec(`DELETE FROM checkpoint WHERE ${which}`));
  drop('size = (SELECT max(size) FROM checkpoint)');
  const { stdout } = retention(['--dry-run']);
  expect(stdout).toContain('0 archived before, 1 charted too lately, 4 held back, 2 due\n');
  expect(stdout).toContain(`no checkpoint covers the newest entry of ${drain('watched')} yet\n`);
  drop('true');
  expect(retention(BY)).toMatchObject({
    status: 64,
    stderr: expect.stringContaining('no checkpoint was ever'),
  });
  expect(existsSync(archives)).toBe(false);
});

it('archives nothing twice', () => {
  expect(retention(BY).status).toBe(0);
  const before = told();
  const again = retention(BY);
  expect(again.stdout).toContain('2 archived before, 1 charted too lately, 4 held back, 0 due\n');
  expect(told()).toEqual(before);
});

it('is verified by the key that signed, where another was named since', async () => {
  const ledger = openLedger(database, { origin: LOG, targets: [] });
  const body = writeRotation(LOG, key, rawPublicKey(generateKeyPairSync('ed25519').privateKey));
  await ledger.store.notice({ type: 'checkpoint-key', actor: { type: 'service' }, body });
  await ledger.close();
  expect(retention(BY)).toMatchObject({ status: 0, stderr: '' });
});

it('that somebody edited in the ledger is found, whatever it says then', () => {
  expect(retention(BY).status).toBe(0);
  const spoil = `UPDATE payload SET body = '{' WHERE log_index = (SELECT max(log_index) FROM ledger)`;
  tamper(database, (db) => db.exec(spoil));
  expect(outcome(verify(database, [], PUBLIC))[0]).toBe(1);
});

it('is told in later bundles of the drain', async () => {
  expect(retention(BY).status).toBe(0);
  const ledger = openLedger(database, { origin: LOG, targets: [] });
  await ledger.store.checkpoint(sign);
  await ledger.close();
  const out = join(ledgers.folder, 'later');
  const args = [CLI, 'audit-bundle', '--drain', drain('alone'), '--out', out];
  expect(spawnSync(process.execPath, args, { env: environment() }).status).toBe(0);
  const lines = readFileSync(join(out, 'entries.ndjson'), 'utf8').trim().split('\n');
  const of = lines.map((line) => JSON.parse(line)).filter(({ stream }) => stream === 'retention');
  expect(of.map(({ body }) => JSON.parse(body).drains)).toEqual([[drain('alone')]]);
  expect(bundleVerified(out)).toBe(0);
});

it('waits while the service has the ledger', async () => {
  const ledger = openLedger(database, { origin: LOG, targets: [] });
  const { status, stderr } = retention(BY);
  expect({ status, stderr }).toEqual({
    status: 64,
    stderr: expect.stringContaining('in use by another process'),
  });
  expect(retention(['--dry-run']).stdout).toContain('2 due\n');
  await ledger.close();
});

test('a draft that a kill left is made anew, and an archive that the log does not know of yet is verified and told', () => {
  expect(retention(BY).status).toBe(0);
  const [whole = '', other = ''] = readdirSync(archives);
  copyFileSync(good, database);
  const manifest = readFileSync(join(archives, whole, 'manifest.json'));
  cpSync(join(archives, other), join(archives, `${other}.draft`), { recursive: true });
  rmSync(join(archives, other), { recursive: true });
  rmSync(join(archives, `${other}.draft`, 'manifest.json'));
  expect(retention(BY).status).toBe(0);
  expect(readdirSync(archives).sort()).toEqual([whole, other].sort());
  expect(readFileSync(join(archives, whole, 'manifest.json')).equals(manifest)).toBe(true);
  expect(beginnings(told().map(({ body }) => JSON.parse(body).bundle))).toEqual(FIRSTS);
});

test('an archive that does not verify, or is of others, stops it, and the log says nothing of it', () => {
  expect(retention(BY).status).toBe(0);
  const [first = '', second = ''] = told().map(({ body }) => JSON.parse(body).bundle);
  copyFileSync(good, database);
  const entries = join(archives, first, 'entries.ndjson');
  const text = readFileSync(entries, 'utf8');
  writeFileSync(entries, text.replace('"level_ml', '"Level_ml'));
  const spoilt = retention(BY);
  expect(spoilt).toMatchObject({
    status: 64,
    stderr: expect.stringContaining('does not verify: entries.ndjson'),
  });
  expect(told()).toEqual([]);
  rmSync(join(archives, first), { recursive: true });
  cpSync(join(archives, second), join(archives, first), { recursive: true });
  expect(retention(BY).stderr).toContain('is an archive of other drains');
  expect(told()).toEqual([]);
});

test('killed at any moment and run again, it has archived each once', { timeout: 120_000 }, async () => {
  for (const afterMs of [200, 500, 800, 1100, 1400, 1700]) {
    const child = spawn(process.execPath, [CLI, 'retention', ...BY], { env: environment(), stdio: 'ignore' });
    const ended = once(child, 'exit');
    await Promise.race([setTimeout(afterMs), ended]);
    child.kill('SIGKILL');
    await ended;
    expect(outcome(verify(database, [], PUBLIC))[0]).toBe(0);
  }
  expect(retention(BY)).toMatchObject({ status: 0, stderr: '' });
  expect(beginnings(told().map(({ body }) => JSON.parse(body).bundle))).toEqual(FIRSTS);
  expect(beginnings(readdirSync(archives))).toEqual(FIRSTS);
  for (const name of readdirSync(archives)) expect(bundleVerified(join(archives, name))).toBe(0);
});
