/** Ledgers from which drains were lawfully erased, their audit bundles, and what both verifiers in one say of it. */
import { spawnSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { cpSync, existsSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { expect } from 'vitest';
import { rawPublicKey, writeVerifierKey } from '../../src/audit/checkpoint.ts';
import { openLedger } from '../store/ledger.ts';
import { NURSE } from '../support/drain-script.ts';
import * as closed from './closed-drains.ts';
import * as by from './tampered.ts';
import { makeTwoPatients, makeUnlinked, PATIENTS_OWN, RIGHT } from './two-patients-bundle.ts';

const CLI = fileURLToPath(new URL('../../dist/cli/main.js', import.meta.url));
export const NOW = 2_000_000_000_000;
export const ALWAYS = ['--from', '2000-01-01T00:00:00Z', '--to', '2999-01-01T00:00:00Z'];

const hasPython = spawnSync('python3', ['--version']).status === 0;
if (!hasPython) {
  const reason = 'python3 is missing on this machine: bundles were verified by verify.mjs alone';
  if (process.env.CI === 'true') throw new Error(reason);
  console.warn(`skipped: ${reason}`);
}

export interface Kept {
  readonly database: string;
  readonly log: string;
  readonly key: string;
  readonly sign: typeof closed.sign;
}

/** A line of entries.ndjson. */
export interface Line {
  log_index: number;
  stream: string;
  seq: number;
  envelope: string;
  salt: string | null;
  body: string | null;
  issued: string[];
  steps?: { event: number; salt: string; text: string }[];
  erased?: number;
}

/** Of a patient whose drains are closed all was erased. */
export async function makeClosed(folder: string): Promise<Kept> {
  const key = writeVerifierKey(closed.LOG, rawPublicKey(closed.key));
  const kept = { database: join(folder, 'closed.db'), log: closed.LOG, key, sign: closed.sign };
  await closed.makeClosedDrains(kept.database);
  await eraseAndSign(kept, [closed.drain('left'), closed.drain('right')]);
  return kept;
}

/** With lines from before the erasure, and the place of what says so. */
export interface Told extends Kept {
  readonly before: readonly Line[];
  readonly tombstone: number;
}

const told = (folder: string, name: string): Kept => ({
  database: join(folder, `${name}.db`),
  log: by.LOG,
  key: writeVerifierKey(by.LOG, by.PUBLIC),
  sign: by.sign(by.key),
});

/** The drain was erased for which counts what stands in the stream of another; one entry tells that both were sent. */
export async function makeShared(folder: string): Promise<Told> {
  const kept = told(folder, 'shared');
  await makeTwoPatients(kept.database);
  const ledger = openLedger(kept.database, { origin: kept.log });
  await ledger.store.noteServed(['ehr'], NOW);
  expect(await ledger.store.claim('ehr', NOW, NOW + 500, 9, [])).toHaveLength(2);
  await ledger.store.checkpoint(kept.sign);
  await ledger.close();
  const before = linesOf(bundle(kept, ...ALWAYS));
  return { ...kept, before, tombstone: await eraseAndSign(kept, [RIGHT]) };
}

/** The drain was erased to whose patient another was linked for a while, so that an entry of that issued texts of both. */
export async function makeParted(folder: string): Promise<Told> {
  const kept = told(folder, 'parted');
  await makeUnlinked(kept.database);
  const before = linesOf(bundle(kept, ...ALWAYS));
  return { ...kept, before, tombstone: await eraseAndSign(kept, [PATIENTS_OWN]) };
}

/** @returns the place of what says so, which no checkpoint covers yet */
export async function erase({ database, log }: Kept, drains: readonly string[]): Promise<number> {
  const ledger = openLedger(database, { origin: log, targets: [] });
  const { logIndex } = await ledger.store.erase(NURSE, { drains, messages: [], reason: 'invented' });
  await ledger.close();
  return logIndex;
}

export async function eraseAndSign(kept: Kept, drains: readonly string[]): Promise<number> {
  const place = await erase(kept, drains);
  const ledger = openLedger(kept.database, { origin: kept.log, targets: [] });
  await ledger.store.checkpoint(kept.sign);
  await ledger.close();
  return place;
}

export function bundling({ database, log }: Kept, ...args: string[]) {
  if (!existsSync(CLI)) throw new Error(`${CLI} is missing: npm run build`);
  return spawnSync(process.execPath, [CLI, 'audit-bundle', ...args], {
    env: { PATH: process.env.PATH, DRAINLEDGER_ORIGIN: log, DRAINLEDGER_DATABASE: database },
    encoding: 'utf8',
  });
}

/** Its folder, beside the ledger. */
export function bundle(of: Kept, ...wanted: string[]): string {
  const out = join(mkdtempSync(join(dirname(of.database), 'made-')), 'bundle');
  expect(bundling(of, ...wanted, '--out', out)).toMatchObject({ status: 0, stderr: '' });
  return out;
}

export const linesOf = (path: string): Line[] =>
  readFileSync(join(path, 'entries.ndjson'), 'utf8')
    .split('\n')
    .slice(0, -1)
    .map((line) => JSON.parse(line) as Line);

export const streamsOf = (path: string): string[] => linesOf(path).map(({ stream }) => stream);

/** By both, in a copy with nothing of our environment: what the first says, and the code that they agree on. */
export function verified(
  path: string,
  { key }: Kept,
): { readonly code: number | null; readonly text: string } {
  const alone = mkdtempSync(join(tmpdir(), 'alone-'));
  cpSync(path, alone, { recursive: true });
  const run = (command: string, script: string, env: NodeJS.ProcessEnv) =>
    spawnSync(command, [script, '--key', key], { cwd: alone, env, encoding: 'utf8' });
  const first = run(process.execPath, 'verify.mjs', {});
  if (hasPython) {
    const second = run('python3', 'verify.py', { PATH: process.env.PATH });
    expect({ code: second.status, err: second.stderr }).toEqual({ code: first.status, err: '' });
    // Of what is wrong it says the kind and the place alone.
    if (first.status === 0) expect(second.stdout).toBe(first.stdout);
    else expect(first.stdout).toContain(second.stdout.trim().replace(/^(tampered|incomplete): /, ''));
  }
  rmSync(alone, { recursive: true });
  return { code: first.status, text: (first.stdout + first.stderr).trim() };
}

/** Edits the lines of a bundle, and lists them in the manifest as they are then. */
export function forge(path: string, change: (lines: Line[]) => readonly Line[]): void {
  const file = join(path, 'entries.ndjson');
  const text = change(linesOf(path))
    .map((line) => `${JSON.stringify(line)}\n`)
    .join('');
  if (text === readFileSync(file, 'utf8')) throw new Error('nothing was changed');
  writeFileSync(file, text);
  const manifest = JSON.parse(readFileSync(join(path, 'manifest.json'), 'utf8'));
  manifest.files['entries.ndjson'] = createHash('sha256').update(text).digest('hex');
  writeFileSync(join(path, 'manifest.json'), JSON.stringify(manifest));
}
