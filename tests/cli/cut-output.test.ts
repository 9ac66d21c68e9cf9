/**
 * What the command line writes when it is cut: whoever reads has enough, or the disk is full. A pipe that is closed ends
 * a Unix tool by SIGPIPE, which a shell tells as 128 + 13 (POSIX.1-2017, XCU 2.8.2); 74 is EX_IOERR of sysexits.h.
 */
import { spawn } from 'node:child_process';
import { existsSync, mkdtempSync, readdirSync, readFileSync, rmSync, statSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { rawPublicKey, writeVerifierKey } from '../../src/audit/checkpoint.ts';
import { makeKeyFile, readKeyFile } from '../../src/audit/key-file.ts';
import { level, placeDrain, setUp, tell } from '../http/messages.ts';
import { startTestService, type TestService } from '../http/service.ts';

const CLI = fileURLToPath(new URL('../../dist/cli/main.js', import.meta.url));
const CLOSED_PIPE = 141;
const NOT_WRITTEN = 74;
let service: TestService;
let drain: string;
let folder: string;
beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'cut-output-'));
  makeKeyFile(join(folder, 'key.pem'));
  service = await startTestService({ DRAINLEDGER_CHECKPOINT_KEY: join(folder, 'key.pem') });
  const placed = await placeDrain(service, 'one', '08:00', { patient: { reference: 'Patient/cut' } });
  await tell(placed, setUp('up', '08:00', 0), level('a', '09:00', 100), level('b', '10:00', 120));
  drain = placed.drain;
  const covered = async () => JSON.parse((await service.send('GET', '/audit/')).text).checkpoint_size ?? 0;
  while ((await covered()) < 5) await new Promise((resolve) => setTimeout(resolve, 50));
});
afterAll(async () => {
  await service.stop();
  rmSync(folder, { recursive: true });
});

const commands = (): Readonly<Record<string, readonly string[]>> => ({
  'export of a drain': ['export', join(service.folder, 'ledger.db'), '--drain', drain],
  'the rules': ['rules', 'list'],
  'the help': ['--help'],
});

interface Ended {
  readonly code: number | null;
  readonly err: string;
}

/** By a shell, which says how its command ended, with what it does to standard output. Not spawnSync: the service is here. */
function inShell(before: string, args: readonly string[], after: string): Promise<Ended> {
  const script = `${before} "$@" ${after}`;
  const env = {
    PATH: process.env.PATH,
    DRAINLEDGER_DATABASE: join(service.folder, 'ledger.db'),
    DRAINLEDGER_ORIGIN: 'test.example',
  };
  const child = spawn('sh', ['-c', script, 'sh', process.execPath, CLI, ...args], { cwd: folder, env });
  let err = '';
  child.stderr.on('data', (data) => {
    err += data;
  });
  return new Promise((resolve) => child.once('close', (code) => resolve({ code, err })));
}

test.each(['export of a drain', 'the rules', 'the help'])(
  '%s to a pipe that nobody reads ends quietly, as SIGPIPE ends a tool',
  async (name) => {
    // The reader is gone before the command begins.
    const closed = await inShell('{ sleep 1;', commands()[name] ?? [], '; echo $? >code; } | :');
    expect(closed.err).toBe('');
    expect(readFileSync(join(folder, 'code'), 'utf8')).toBe(`${CLOSED_PIPE}\n`);
  },
);

test.each(['export of a drain', 'the rules', 'the help'])(
  '%s to a disk that takes nothing is told, and is no success',
  async (name) => {
    const { code, err } = await inShell('ulimit -f 0; exec', commands()[name] ?? [], '>taken');
    expect(err).toMatch(/^standard output cannot be written: .*too large/i);
    expect(err.trim().split('\n')).toHaveLength(1);
    expect(code).toBe(NOT_WRITTEN);
  },
);

test.each([
  ['a bundle', () => ['audit-bundle', '--drain', drain]],
  ['a table', () => ['export', join(service.folder, 'ledger.db'), '--drain', drain]],
])('%s that the disk does not take leaves nothing that looks whole', async (_what, args) => {
  const out = join(folder, 'out');
  const { code, err } = await inShell('ulimit -f 1; exec', [...args(), '--out', out], '');
  expect(err).toContain(`${out} cannot be written: `);
  expect(code).toBe(NOT_WRITTEN);
  expect(readdirSync(folder).filter((name) => name.startsWith('out'))).toEqual([]);
});

test('so does a copy of the ledger, which is for its owner alone', async () => {
  const [failed, whole] = [join(folder, 'failed.db'), join(folder, 'whole.db')];
  const { code, err } = await inShell('ulimit -f 1; exec', ['ledger', 'copy', failed], '');
  expect(err).toContain(`${failed} cannot be written: `);
  expect(code).toBe(NOT_WRITTEN);
  expect(readdirSync(folder).filter((name) => name.startsWith('failed'))).toEqual([]);
  expect((await inShell('umask 022; exec', ['ledger', 'copy', whole], '>taken')).code).toBe(0);
  expect(statSync(whole).mode & 0o777).toBe(0o600);
});

test('a bundle whose writing is killed is under no name that it could be taken by', async () => {
  const out = join(folder, 'killed');
  const args = ['audit-bundle', '--drain', drain, '--out', out];
  const child = spawn(process.execPath, [CLI, ...args], {
    env: {
      DRAINLEDGER_DATABASE: join(service.folder, 'ledger.db'),
      DRAINLEDGER_ORIGIN: 'test.example',
    },
  });
  const closed = new Promise((resolve) => child.once('close', resolve));
  // The first of it on disk.
  while (child.exitCode === null && !readdirSync(folder).some((name) => name.startsWith('killed')))
    await new Promise((resolve) => setImmediate(resolve));
  const seen = readdirSync(folder).filter((name) => name.startsWith('killed'));
  child.kill('SIGKILL');
  await closed;
  expect(seen).not.toContain('killed');
  // What was left does not stand in the way of the next.
  rmSync(out, { recursive: true, force: true });
  expect((await inShell('exec', args, '>taken')).code).toBe(0);
  expect(existsSync(join(out, 'manifest.json'))).toBe(true);
  expect(readdirSync(folder).filter((name) => name.startsWith('killed'))).toEqual(['killed']);
});

test.each([
  ['node', 'verify.mjs'],
  ['python3', 'verify.py'],
])('%s %s says by its exit code what it found, though nobody reads its words', async (runs, verifier) => {
  const bundle = join(folder, `of-${verifier}`);
  await inShell('exec', ['audit-bundle', '--drain', drain, '--out', bundle], '>taken');
  const key = writeVerifierKey('test.example', rawPublicKey(readKeyFile(join(folder, 'key.pem'))));
  const ended = async (...args: readonly string[]): Promise<string> => {
    const command = [
      '-c',
      '{ sleep 1; "$@"; echo $? >code; } | :',
      'sh',
      runs,
      join(bundle, verifier),
      ...args,
    ];
    const child = spawn('sh', command, { cwd: folder });
    let err = '';
    child.stderr.on('data', (data) => {
      err += data;
    });
    await new Promise((resolve) => child.once('close', resolve));
    return `${readFileSync(join(folder, 'code'), 'utf8').trim()}${err}`;
  };
  expect(await ended('--key', key)).toBe('0');
  expect(await ended()).toBe('3');
});
