/** `verify --report`: what was said of a ledger, night by night, signed by who verified it. */
import { spawnSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, beforeAll, expect, test } from 'vitest';
import {
  isSignature,
  rawPublicKey,
  readCheckpoint,
  readVerifierKey,
  writeVerifierKey,
} from '../../src/audit/checkpoint.ts';
import { makeKeyFile } from '../../src/audit/key-file.ts';
import * as by from './tampered.ts';
import { type Bench, openBench } from './verified.ts';

const CLI = fileURLToPath(new URL('../../dist/cli/main.js', import.meta.url));
const KEY = writeVerifierKey(by.LOG, by.PUBLIC);
let bench: Bench;
let auditor: Buffer;
beforeAll(async () => {
  bench = await openBench();
  auditor = rawPublicKey(makeKeyFile(join(bench.folder, 'auditor.pem')));
});
afterAll(() => bench.remove());

function verify(file: string, ...more: string[]) {
  const args = [CLI, 'verify', file, '--key', KEY, ...more];
  const { status, stdout, stderr } = spawnSync(process.execPath, args, { encoding: 'utf8' });
  return { code: status, out: stdout, err: stderr };
}
const reports = () => join(bench.folder, 'reports');
const asked = () => ['--report', reports(), '--sign', join(bench.folder, 'auditor.pem')];
const written = (): { at: string; exit: number; report: string }[] =>
  readFileSync(reports(), 'utf8')
    .split('\n')
    .filter((line) => line !== '')
    .map((line) => JSON.parse(line));

test('each run appends what it said and its exit code, signed by who ran it; what is wrong is reported the same', () => {
  const good = verify(bench.good, ...asked());
  expect(good.code).toBe(0);
  const bad = bench.changed((db) => by.dropTail(db, 15));
  expect(verify(bad, ...asked()).code).toBe(2);

  const all = written();
  expect(all.map(({ exit }) => exit)).toEqual([0, 2]);
  const key = readVerifierKey(good.err.trim().split(' ').at(-1) ?? '');
  expect(key).toEqual({ name: `${by.LOG}/verify`, key: auditor });
  for (const { at, exit, report } of all) {
    // C2SP signed-note: text, an empty line, the signer's name, and four bytes of the key before the signature.
    const end = report.lastIndexOf('\n\n') + 1;
    const [text, signed] = [report.slice(0, end), report.slice(end + 1)];
    const [dash, name, base64 = ''] = signed.trimEnd().split(' ');
    expect([dash, name]).toEqual(['—', `${by.LOG}/verify`]);
    const signature = Buffer.from(base64, 'base64').subarray(4);
    expect(isSignature(signature, Buffer.from(text), auditor)).toBe(true);
    expect(isSignature(signature, Buffer.from(text.replace(`exit ${exit}`, 'exit 9')), auditor)).toBe(false);
    expect(text.split('\n').slice(0, 4)).toEqual([
      `verify report of ${by.LOG}`,
      at,
      exit === 0 ? bench.good : bad,
      `exit ${exit}`,
    ]);
    expect(readCheckpoint(report)).toBeUndefined();
  }
  expect(all[0]?.report).toContain(good.out);
  expect(all[1]?.report).toContain('incomplete: checkpoint 16 of the database');
});

test('it is asked for whole, or nothing is verified', () => {
  for (const more of [asked().slice(0, 2), asked().slice(2), ['--report', 'x', '--sign', 'nowhere.pem']]) {
    const said = verify(bench.good, ...more);
    expect(said).toMatchObject({ code: 64, out: '' });
    expect(said.err).toMatch(/--report FILE and --sign KEY-FILE go together|cannot read the checkpoint key/);
  }
});
