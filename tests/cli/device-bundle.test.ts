/** A ledger with a device that was on the wrong drain: verified whole, and in bundles that keep each patient's part apart. */
import { spawnSync } from 'node:child_process';
import { existsSync, mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { writeVerifierKey } from '../../src/audit/checkpoint.ts';
import { LOG, PUBLIC } from './tampered.ts';
import { makeTwoPatients, RIGHT, WRONG } from './two-patients-bundle.ts';
import { verify } from './verified.ts';

const CLI = fileURLToPath(new URL('../../dist/cli/main.js', import.meta.url));
const folder = mkdtempSync(join(tmpdir(), 'device-bundle-'));
const database = join(folder, 'ledger.db');

beforeAll(async () => {
  if (!existsSync(CLI)) throw new Error(`${CLI} is missing: npm run build`);
  await makeTwoPatients(database);
});
afterAll(() => rmSync(folder, { recursive: true }));

interface Entry {
  readonly stream: string;
  readonly body: string;
}

function bundleOf(drain: string): { readonly said: readonly string[]; readonly text: string } {
  const out = join(folder, drain);
  const env = { PATH: process.env.PATH, DRAINLEDGER_ORIGIN: LOG, DRAINLEDGER_DATABASE: database };
  const made = spawnSync(process.execPath, [CLI, 'audit-bundle', '--drain', drain, '--out', out], { env });
  expect(made.status, String(made.stderr)).toBe(0);
  const key = writeVerifierKey(LOG, PUBLIC);
  const checked = spawnSync(process.execPath, [join(out, 'verify.mjs'), out, '--key', key], {
    encoding: 'utf8',
  });
  expect(checked.status, checked.stdout).toBe(0);
  const text = readFileSync(join(out, 'entries.ndjson'), 'utf8');
  const entries = text
    .trim()
    .split('\n')
    .map((line) => JSON.parse(line) as Entry);
  const said = entries.flatMap(({ stream, body }) =>
    stream === 'log'
      ? []
      : `${stream === drain ? 'drain' : stream.split('-')[0]} ${JSON.parse(body).identifier.value}`,
  );
  return { said, text: text + readFileSync(join(out, 'resources.ndjson'), 'utf8') };
}

test('the whole of it verifies', () => {
  expect(verify(database, []).finding).toBeNull();
});

test('the bundle of the drain that it was on holds what counts for it, and nothing of the other patient', () => {
  const { said, text } = bundleOf(RIGHT);
  expect(said.filter((each) => !each.startsWith('drain '))).toEqual([
    'device registered',
    'unmatched early',
    'device assigned',
    'device corrected',
    'device closed',
  ]);
  expect(said.filter((each) => each.startsWith('drain '))).toHaveLength(2);
  expect(text).toContain('Patient/right');
  expect(text).not.toContain('Patient/wrong');
});

test('that of the other drain holds what stood on it, and that it left', () => {
  const { said, text } = bundleOf(WRONG);
  expect(said).toEqual([
    'drain wrong',
    'device registered',
    'device assigned',
    'drain moved',
    'device corrected',
    expect.stringMatching(/^drain \w+\./),
    'device closed',
    'device later',
  ]);
  expect(text).not.toContain('Patient/right');
});
