/** Audit bundles hold the steps of deliveries, each vouched for by its entry, and of a drain nothing of another. */
import { spawnSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { existsSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { writeVerifierKey } from '../../src/audit/checkpoint.ts';
import { openLedger } from '../store/ledger.ts';
import * as by from './tampered.ts';

const CLI = fileURLToPath(new URL('../../dist/cli/main.js', import.meta.url));
const folder = mkdtempSync(join(tmpdir(), 'delivery-bundle-'));
const database = join(folder, 'ledger.db');
const KEY = writeVerifierKey(by.LOG, by.PUBLIC);
const NOW = 2_000_000_000_000;

/** Entry 16 tells of a target, 17 of the claims of both drains, 18 of how that of one drain ended. */
beforeAll(async () => {
  if (!existsSync(CLI)) throw new Error(`${CLI} is missing: npm run build`);
  await by.makeLedger(database);
  const ledger = openLedger(database, { origin: by.LOG });
  await ledger.store.noteServed(['ehr'], NOW);
  const claimed = await ledger.store.claim('ehr', NOW, NOW + 500, 9, []);
  const own = claimed.find(({ drain }) => drain === by.DRAIN);
  if (own === undefined || claimed.length !== 2) throw new Error('not both drains were claimed');
  const settlement = { state: 'dead', outcome: { why: 'HTTP 422' }, taken: [] } as const;
  await ledger.store.settle([{ delivery: own, settlement }], NOW + 1);
  await ledger.store.checkpoint(by.sign(by.key));
  await ledger.close();
});
afterAll(() => rmSync(folder, { recursive: true }));

let made = 0;
function bundle(...wanted: string[]): string {
  made += 1;
  const out = join(folder, `bundle-${made}`);
  const env = { PATH: process.env.PATH, DRAINLEDGER_ORIGIN: by.LOG, DRAINLEDGER_DATABASE: database };
  const args = [CLI, 'audit-bundle', ...wanted, '--out', out];
  expect(spawnSync(process.execPath, args, { env, encoding: 'utf8' })).toMatchObject({
    status: 0,
    stderr: '',
  });
  return out;
}

function verified(path: string) {
  const args = [join(path, 'verify.mjs'), path, '--key', KEY];
  const { status, stdout } = spawnSync(process.execPath, args, { env: {}, encoding: 'utf8' });
  return { code: status, text: stdout.trim() };
}

interface Line {
  readonly log_index: number;
  readonly event: number;
  readonly step: { readonly kind: string; readonly drain: string | null; readonly detail: object | null };
}
const stepsIn = (path: string): Line[] =>
  readFileSync(join(path, 'deliveries.ndjson'), 'utf8')
    .split('\n')
    .slice(0, -1)
    .map((line) => JSON.parse(line) as Line);

test('of a drain: its own steps, and the entries that tell of them', () => {
  const path = bundle('--drain', by.DRAIN);
  expect(verified(path)).toMatchObject({ code: 0 });
  expect(stepsIn(path)).toMatchObject([
    { log_index: 17, step: { kind: 'sending', drain: by.DRAIN, attempts: 1, at_ms: NOW } },
    { log_index: 18, step: { kind: 'dead', drain: by.DRAIN, detail: { why: 'HTTP 422' } } },
  ]);
  const all = ['entries.ndjson', 'deliveries.ndjson', 'resources.ndjson'];
  for (const name of all) expect(readFileSync(join(path, name), 'utf8')).not.toContain(by.OTHER);
});

test('of a period: every step that its entries tell of', () => {
  const path = bundle('--from', '2020-01-01T00:00:00Z', '--to', '2100-01-01T00:00:00Z');
  expect(verified(path)).toMatchObject({ code: 0 });
  expect(stepsIn(path).map(({ event, step }) => [event, step.kind])).toEqual([
    [1, 'started'],
    [2, 'sending'],
    [3, 'sending'],
    [4, 'dead'],
  ]);
});

/** Edits a file of the bundle, and lists it in the manifest as it is then. */
function forge(path: string, name: string, change: (text: string) => string): void {
  const text = change(readFileSync(join(path, name), 'utf8'));
  writeFileSync(join(path, name), text);
  const sum = createHash('sha256').update(text).digest('hex');
  const manifest = JSON.parse(readFileSync(join(path, 'manifest.json'), 'utf8'));
  manifest.files[name] = sum;
  writeFileSync(join(path, 'manifest.json'), JSON.stringify(manifest));
}

test('a step that somebody edited, added or left out of a period is found, whatever the manifest says', () => {
  const period = ['--from', '2020-01-01T00:00:00Z', '--to', '2100-01-01T00:00:00Z'];
  const edited = bundle(...period);
  forge(edited, 'entries.ndjson', (text) => text.replace('HTTP 422', 'HTTP 200'));
  expect(verified(edited)).toEqual({
    code: 1,
    text: 'entry 18 (stream delivery, 3): delivery event 4 is not as it tells it',
  });
  const told = bundle('--drain', by.DRAIN);
  forge(told, 'deliveries.ndjson', (text) => text.replace('HTTP 422', 'HTTP 200'));
  expect(verified(told)).toEqual({ code: 1, text: 'deliveries.ndjson is not what the entries say' });
  const short = bundle(...period);
  forge(short, 'entries.ndjson', (text) => text.replace(/"steps":\[\{"event":4.*?\}"\}\]/, '"steps":[]'));
  expect(verified(short)).toEqual({
    code: 2,
    text: 'entry 18 (stream delivery, 3): a delivery event that it tells of is missing',
  });
});
