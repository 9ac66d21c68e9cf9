/** Audit bundles of a real ledger, checked by the one file in them, with plain node, in a folder with nothing else. */
import { spawnSync } from 'node:child_process';
import { generateKeyPairSync } from 'node:crypto';
import { cpSync, existsSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import Database from 'better-sqlite3';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { rawPublicKey, writeVerifierKey } from '../../src/audit/checkpoint.ts';
import { seeded } from '../e2e/story.ts';
import * as by from './tampered.ts';

const CLI = fileURLToPath(new URL('../../dist/cli/main.js', import.meta.url));
const folder = mkdtempSync(join(tmpdir(), 'bundle-test-'));
const database = join(folder, 'ledger.db');
const KEY = writeVerifierKey(by.LOG, by.PUBLIC);

beforeAll(async () => {
  if (!existsSync(CLI)) throw new Error(`${CLI} is missing: npm run build`);
  await by.makeLedger(database);
});
afterAll(() => rmSync(folder, { recursive: true }));

function cli(...args: string[]) {
  const env = { PATH: process.env.PATH, DRAINLEDGER_ORIGIN: by.LOG, DRAINLEDGER_DATABASE: database };
  const { status, stdout, stderr } = spawnSync(process.execPath, [CLI, ...args], { env, encoding: 'utf8' });
  return { code: status, out: stdout, err: stderr };
}

let made = 0;
function bundle(...wanted: string[]): string {
  made += 1;
  const out = join(folder, `bundle-${made}`);
  expect(cli('audit-bundle', ...wanted, '--out', out)).toMatchObject({ code: 0, err: '' });
  return out;
}

/** In a copy of the bundle, with no environment. */
function verified(path: string, key: string | null = KEY) {
  const alone = mkdtempSync(join(tmpdir(), 'alone-'));
  cpSync(path, alone, { recursive: true });
  const args = ['verify.mjs', ...(key === null ? [] : ['--key', key])];
  const { status, stdout, stderr } = spawnSync(process.execPath, args, {
    cwd: alone,
    env: {},
    encoding: 'utf8',
  });
  rmSync(alone, { recursive: true });
  return { code: status, text: (stdout + stderr).trim() };
}

const entriesIn = (path: string): { log_index: number; stream: string; issued: string[] }[] =>
  readFileSync(join(path, 'entries.ndjson'), 'utf8')
    .split('\n')
    .slice(0, -1)
    .map((line) => JSON.parse(line));
const indexesIn = (path: string): number[] => entriesIn(path).map(({ log_index }) => log_index);

interface Row {
  readonly log_index: number;
  readonly stream: string;
}
function rows(): Row[] {
  const db = new Database(database, { readonly: true });
  const found = db.prepare<[], Row>('SELECT log_index, stream FROM ledger ORDER BY log_index').all();
  db.close();
  return found;
}
function recordedAt(index: number): string {
  const db = new Database(database, { readonly: true });
  const text = db
    .prepare<[number], string>('SELECT envelope FROM ledger WHERE log_index = ?')
    .pluck()
    .get(index);
  db.close();
  return JSON.parse(text ?? '{}').recorded_at;
}

describe('a bundle', () => {
  test('of a drain holds its entries, the keys and the configuration, and nothing of another drain', () => {
    const path = bundle('--drain', by.DRAIN);
    const due = rows().filter(({ stream }) => stream !== by.OTHER);
    expect(indexesIn(path)).toEqual(due.map(({ log_index }) => log_index));
    expect(verified(path)).toEqual({
      code: 0,
      text: `ok: ${due.length} entries of store.example, all in its checkpoint of 16 entries, signed by ${KEY}`,
    });
    const corrections = readFileSync(join(path, 'corrections.ndjson'), 'utf8').trim().split('\n');
    expect(corrections.map((line) => JSON.parse(line))).toMatchObject([
      {
        log_index: 14,
        body: { kind: 'corrected', reason: 'misread', author: { reference: 'Practitioner/n1' } },
      },
    ]);
    expect(readdirSync(path).sort()).toEqual([
      'README.md',
      'accesses.ndjson',
      'checkpoint.txt',
      'corrections.ndjson',
      'deliveries.ndjson',
      'entries.ndjson',
      'frames.ndjson',
      'manifest.json',
      'public-keys.txt',
      'resources.ndjson',
      'verify.mjs',
      'verify.py',
    ]);
    expect(readFileSync(join(path, 'public-keys.txt'), 'utf8')).toBe(`${KEY}\n`);
  });

  test('of a patient holds all drains of the patient', () => {
    const path = bundle('--patient', 'Patient/p');
    expect(indexesIn(path)).toEqual(rows().map(({ log_index }) => log_index));
    expect(verified(path).code).toBe(0);
    const resources = readFileSync(join(path, 'resources.ndjson'), 'utf8').trim().split('\n');
    expect(resources.length).toBeGreaterThan(50);
    const types = new Set(resources.map((line) => JSON.parse(line).resource.resourceType));
    expect([...types].sort()).toEqual(['Device', 'Observation', 'Provenance']);
  });

  test('of a period holds what was recorded then, of all streams', () => {
    const path = bundle('--from', '2000-01-01T00:00:00Z', '--to', '2999-01-01T01:00:00+01:00');
    expect(indexesIn(path)).toEqual(rows().map(({ log_index }) => log_index));
    expect(verified(path).code).toBe(0);
    const from = recordedAt(6);
    const part = bundle('--from', from, '--to', recordedAt(12));
    const due = rows().filter(({ log_index }) => {
      const at = recordedAt(log_index);
      return log_index === 1 || (at >= from && at < recordedAt(12));
    });
    expect(indexesIn(part)).toEqual(due.map(({ log_index }) => log_index));
    expect(verified(part).code).toBe(0);
  });

  test('is verified the same by the command line', () => {
    const path = bundle('--drain', by.DRAIN);
    expect(cli('verify', path, '--key', KEY)).toMatchObject({
      code: 0,
      out: expect.stringContaining('ok: '),
    });
    writeFileSync(join(path, 'key'), `${KEY}\n`);
    expect(cli('verify', path, '--key', join(path, 'key')).code).toBe(0);
    expect(cli('verify', path).code).toBe(3);
  });

  test('is not made of what there is not, nor over another', () => {
    const out = join(folder, 'none');
    for (const [words, ...wanted] of [
      ['there is no such drain', '--drain', 'configuration'],
      ['there is no such patient', '--patient', 'Patient/nobody'],
      ['nothing was recorded', '--from', '2000-01-01T00:00:00Z', '--to', '2000-01-02T00:00:00Z'],
      ['is no moment with an offset', '--from', '2000-01-01', '--to', '2000-01-02'],
      ['is no moment with an offset', '--from', '2000-02-30T00:00:00Z', '--to', '2000-03-03T00:00:00Z'],
      ['no such command', '--drain', by.DRAIN, '--patient', 'Patient/p'],
    ])
      expect(cli('audit-bundle', ...wanted, '--out', out)).toMatchObject({
        code: 64,
        err: expect.stringContaining(words ?? ''),
      });
    expect(existsSync(out)).toBe(false);
    const before = bundle('--drain', by.DRAIN);
    expect(cli('audit-bundle', '--drain', by.DRAIN, '--out', before).err).toContain(
      'is there already: give a new path',
    );
  });
});

describe('somebody who changes a bundle', () => {
  test('is found wherever one bit of a file is flipped', async () => {
    await by.claimAndRead(database);
    const path = bundle('--drain', by.DRAIN);
    const random = seeded(7);
    for (const name of readdirSync(path).filter(
      (each) => each !== 'manifest.json' && each !== 'verify.mjs',
    )) {
      const whole = readFileSync(join(path, name));
      for (let n = 0; n < 3; n += 1) {
        const bytes = Buffer.from(whole);
        const at = Math.floor(random() * bytes.length);
        bytes[at] = (bytes[at] as number) ^ (1 << Math.floor(random() * 8));
        writeFileSync(join(path, name), bytes);
        const { code, text } = verified(path);
        expect({ name, at, code, text }).not.toMatchObject({ code: 0 });
        expect(text).toMatch(name === 'checkpoint.txt' ? /./ : new RegExp(name));
      }
      writeFileSync(join(path, name), whole);
    }
    expect(verified(path).code).toBe(0);
  });

  test('and gives another key of his own is unknown', () => {
    const path = bundle('--drain', by.DRAIN);
    const other = writeVerifierKey(by.LOG, rawPublicKey(generateKeyPairSync('ed25519').privateKey));
    expect(verified(path, other)).toEqual({
      code: 3,
      text: 'the key that was given is not one that the log names',
    });
    expect(verified(path, null)).toEqual({
      code: 3,
      text: 'no key was given: the signature was not checked',
    });
  });

  test('and leaves a file out has made it unreadable', () => {
    const path = bundle('--drain', by.DRAIN);
    rmSync(join(path, 'frames.ndjson'));
    expect(verified(path)).toMatchObject({ code: 4, text: expect.stringContaining('frames.ndjson') });
  });
});
