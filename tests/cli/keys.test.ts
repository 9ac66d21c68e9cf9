/** `cli keys`: the keys of clients that cannot do OAuth, as README has an operator make, give and take them back. */
import { execFile } from 'node:child_process';
import { chmodSync, chownSync, mkdtempSync, readFileSync, rmSync, statSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { holderOf, keyFile } from '../../src/auth/keys.ts';

const CLI = fileURLToPath(new URL('../../dist/cli/main.js', import.meta.url));
let folder: string;
let file: string;

beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'keys-test-'));
  file = join(folder, 'keys.json');
});
afterEach(() => rmSync(folder, { recursive: true }));

const keys = (...args: readonly string[]) =>
  new Promise<{ code: number; out: string; error: string }>((resolve) => {
    execFile(process.execPath, [CLI, 'keys', ...args, '--file', file], (error, out, told) =>
      resolve({ code: error === null ? 0 : Number(error.code), out, error: told }),
    );
  });
const add = (...args: readonly string[]) => keys('add', 'engine', ...args);
const stored = () => keyFile.parse(JSON.parse(readFileSync(file, 'utf8'))).keys;

test('a key is shown once, kept as a hash, listed, and taken back', async () => {
  const { code, out } = await add('--scope', 'system/Observation.c', '--drain', 'tcpidup5aa63nq6j');
  expect(code).toBe(0);
  const key = out.trim();
  expect(readFileSync(file, 'utf8')).not.toContain(key.slice(-20));
  expect(statSync(file).mode & 0o777).toBe(0o600);
  expect(holderOf(key, stored())).toMatchObject({
    client: 'engine',
    scope: 'system/Observation.c',
    bounds: { patient: null, drain: 'tcpidup5aa63nq6j' },
  });
  const [, id = ''] = key.split('_');
  expect((await keys('list')).out).toMatch(
    new RegExp(`^${id}  engine  system/Observation.c  tcpidup5aa63nq6j  .*in use`),
  );
  expect((await keys('revoke', id)).code).toBe(0);
  expect(holderOf(key, stored())).toBeNull();
  expect((await keys('list')).out).toContain('revoked');
});

test('another beside it is how one is replaced: both hold until the first is taken back', async () => {
  const first = (await add('--scope', 'system/Observation.c')).out.trim();
  const second = (await add('--scope', 'system/Observation.c')).out.trim();
  expect([first, second].map((key) => holderOf(key, stored())?.client)).toEqual(['engine', 'engine']);
  await keys('revoke', first.split('_')[1] ?? '');
  expect(holderOf(first, stored())).toBeNull();
  expect(holderOf(second, stored())?.client).toBe('engine');
});

test('the file keeps its owner and mode, so that the service can still read it', async () => {
  await add('--scope', 'system/Observation.c');
  chmodSync(file, 0o640);
  if (process.getuid?.() === 0) chownSync(file, 10_001, 10_001);
  const { uid, gid } = statSync(file);
  await add('--scope', 'system/Observation.r');
  expect(statSync(file)).toMatchObject({ uid, gid });
  expect(statSync(file).mode & 0o777).toBe(0o640);
});

test.each([
  [['list'], 'there is no file'],
  [['revoke', '3f9c1a20'], 'there is no file'],
])('%j of a file that is not there: told', async (args, words) => {
  const { code, error } = await keys(...args);
  expect([code, error]).toEqual([64, expect.stringContaining(`${words} ${file}`)]);
});

test('into a folder that is not there: told, without a word of drafts', async () => {
  file = join(folder, 'none', 'keys.json');
  const { code, error } = await add('--scope', 'system/Observation.c');
  expect(code).toBe(64);
  expect(error).toContain(`${file} cannot be written`);
  expect(error).not.toContain('draft');
});
