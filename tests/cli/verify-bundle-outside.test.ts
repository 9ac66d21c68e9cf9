/** A bundle held against checkpoints that were kept outside: a history that was rewritten and signed anew verifies by itself. */
import { spawnSync } from 'node:child_process';
import { existsSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { writeVerifierKey } from '../../src/audit/checkpoint.ts';
import * as by from './tampered.ts';

const CLI = fileURLToPath(new URL('../../dist/cli/main.js', import.meta.url));
const folder = mkdtempSync(join(tmpdir(), 'bundle-outside-'));
const database = join(folder, 'ledger.db');
const bundle = join(folder, 'bundle');
const KEY = writeVerifierKey(by.LOG, by.PUBLIC);
const ROOT = Buffer.alloc(32, 7);
let [first, second] = ['', ''];

beforeAll(async () => {
  if (!existsSync(CLI)) throw new Error(`${CLI} is missing: npm run build`);
  [first = '', second = ''] = await by.makeLedger(database);
  expect(cli('audit-bundle', '--drain', by.DRAIN, '--out', bundle).code).toBe(0);
});
afterAll(() => rmSync(folder, { recursive: true }));

function cli(...args: string[]) {
  const env = { PATH: process.env.PATH, DRAINLEDGER_ORIGIN: by.LOG, DRAINLEDGER_DATABASE: database };
  const { status, stdout, stderr } = spawnSync(process.execPath, [CLI, ...args], { env, encoding: 'utf8' });
  return { code: status, out: stdout, err: stderr };
}

/** Held against escrow files with these checkpoints, a file each. */
function heldAgainst(...files: string[][]) {
  const named = files.map((checkpoints, n) => {
    const file = join(folder, `escrow-${n}`);
    writeFileSync(file, checkpoints.map((checkpoint) => `${JSON.stringify({ checkpoint })}\n`).join(''));
    return file;
  });
  return cli('verify', bundle, '--key', KEY, ...named.flatMap((file) => ['--checkpoint', file]));
}

describe('a bundle held against what was kept outside', () => {
  test('is ok where its checkpoint is among them, and says so', () => {
    const found = heldAgainst([first], [first, second]);
    expect(found).toMatchObject({ code: 0 });
    expect(found.out).toMatch(/^ok: .*; its checkpoint is the one of 16 entries in .*escrow-1\n$/);
  });

  test('is not ok where none is of its size: they cannot be compared', () => {
    const found = heldAgainst([first]);
    expect(found.code).toBe(2);
    expect(found.out).toContain('no checkpoint of 16 entries was kept outside');
  });

  test('is tampered with where the log signed another history of that size', () => {
    const found = heldAgainst([second, by.sign(by.key)({ size: 16, root: ROOT })]);
    expect(found.code).toBe(1);
    expect(found.out).toContain('the checkpoint of 16 entries in');
    expect(found.out).toContain('is of another history');
  });

  test('is not held against what another log signed', () => {
    const other = by.sign(by.key, 'other.example')({ size: 16, root: ROOT });
    expect(heldAgainst([other, second]).code).toBe(0);
    expect(heldAgainst([other]).code).toBe(2);
  });

  test('is not looked at where a file cannot be read, or holds none', () => {
    expect(cli('verify', bundle, '--key', KEY, '--checkpoint', join(folder, 'none')).code).toBe(64);
    expect(heldAgainst([])).toMatchObject({ code: 64, err: expect.stringContaining('holds no checkpoint') });
  });

  test('is judged by itself first', () => {
    writeFileSync(join(folder, 'good'), second);
    expect(cli('verify', bundle, '--checkpoint', join(folder, 'good')).code).toBe(3);
  });
});
