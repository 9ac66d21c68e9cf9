import { type ChildProcess, execFileSync, spawn } from 'node:child_process';
import { once } from 'node:events';
import {
  existsSync,
  mkdirSync,
  mkdtempSync,
  readFileSync,
  rmSync,
  statSync,
  symlinkSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { pathToFileURL } from 'node:url';
import { afterAll, afterEach, beforeAll, beforeEach, expect, test } from 'vitest';
import { claimOwnership, type Ownership } from '../../src/store/sqlite/owner.ts';

// Node 20 cannot load TypeScript, so the other processes run a build of their own, made here from the source.
const build = mkdtempSync(join(tmpdir(), 'drainledger-owner-build-'));
const repository = resolve(import.meta.dirname, '../..');
const NOTE = /pid (\d+), started (\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z)/;

let folder = '';
let file = '';
const claims: Ownership[] = [];
const children: ChildProcess[] = [];

beforeAll(() => {
  const compiler = join(repository, 'node_modules/typescript/bin/tsc');
  writeFileSync(join(build, 'package.json'), '{ "type": "module" }');
  symlinkSync(join(repository, 'node_modules'), join(build, 'node_modules'));
  const options = { extends: join(repository, 'src/tsconfig.json') };
  const compilerOptions = {
    rootDir: join(repository, 'src'),
    outDir: join(build, 'dist'),
    types: ['node'],
    typeRoots: [join(repository, 'node_modules/@types')],
  };
  const files = [join(repository, 'src/store/sqlite/owner.ts')];
  writeFileSync(
    join(build, 'tsconfig.json'),
    JSON.stringify({ ...options, compilerOptions, include: [], files }),
  );
  execFileSync(process.execPath, [compiler, '-p', build], { stdio: 'pipe' });
});

afterAll(() => rmSync(build, { recursive: true }));

beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'drainledger-owner-'));
  file = join(folder, 'ledger.db');
});

afterEach(async () => {
  for (const claim of claims.splice(0)) claim.release();
  await Promise.all(children.splice(0).map(kill));
  rmSync(folder, { recursive: true });
});

function claim(path = file): Ownership {
  const ownership = claimOwnership(path);
  claims.push(ownership);
  return ownership;
}

/** Starts a process that claims the file, says 'claimed' or why not, and then stays until it is killed. */
function startClaimant(path: string, afterwards = ''): ChildProcess {
  const module = pathToFileURL(join(build, 'dist/store/sqlite/owner.js')).href;
  const program = `
    import { claimOwnership } from ${JSON.stringify(module)};
    setInterval(() => {}, 60_000);
    const before = performance.now();
    let answer = 'claimed';
    try { claimOwnership(${JSON.stringify(path)}); } catch (error) { answer = error.message; }
    const milliseconds = performance.now() - before;
    ${afterwards}
    process.stdout.write(JSON.stringify({ answer, milliseconds }) + '\\n');
  `;
  const flags = ['--expose-gc', '--input-type=module', '--eval', program];
  const child = spawn(process.execPath, flags, { stdio: ['ignore', 'pipe', 'inherit'] });
  children.push(child);
  return child;
}

async function answerOf(child: ChildProcess): Promise<{ answer: string; milliseconds: number }> {
  let text = '';
  for await (const chunk of child.stdout ?? []) {
    text += String(chunk);
    if (text.endsWith('\n')) break;
  }
  return JSON.parse(text);
}

async function kill(child: ChildProcess): Promise<void> {
  if (child.exitCode !== null || child.signalCode !== null) return;
  const gone = once(child, 'exit');
  child.kill('SIGKILL');
  await gone;
}

test('a second process is refused within milliseconds and told who has the database', async () => {
  claim();
  const { answer, milliseconds } = await answerOf(startClaimant(file));
  const [, pid, startedAt] = NOTE.exec(answer) ?? [];
  expect(answer).toContain(`the database ${file} is in use by another process`);
  expect(pid).toBe(String(process.pid));
  const expectedStart = Date.now() - process.uptime() * 1000;
  expect(Math.abs(Date.parse(startedAt ?? '') - expectedStart)).toBeLessThan(100);
  expect(milliseconds).toBeLessThan(500);
});

test('a claim can be made as soon as the holder has been killed', async () => {
  const holder = startClaimant(file);
  expect((await answerOf(holder)).answer).toBe('claimed');
  expect(() => claim()).toThrow(new RegExp(`in use by another process: pid ${holder.pid}, started `));
  await kill(holder);
  claim();
  expect(readFileSync(`${file}.owner.txt`, 'utf8')).toContain(`pid ${process.pid},`);
});

test('of several processes that start together, one gets the database', async () => {
  const answers = await Promise.all(Array.from({ length: 5 }, () => answerOf(startClaimant(file))));
  expect(answers.filter(({ answer }) => answer === 'claimed')).toHaveLength(1);
});

test('a claim whose return value is dropped outlives garbage collection', async () => {
  const holder = startClaimant(
    file,
    'for (let i = 0; i < 5; i++) { globalThis.gc(); await new Promise((done) => setTimeout(done, 5)); }',
  );
  expect((await answerOf(holder)).answer).toBe('claimed');
  expect(() => claim()).toThrow(/in use by another process/);
});

test('a second claim in the same process is refused and does not loosen the first', async () => {
  claim();
  expect(() => claim()).toThrow(/in use by another process/);
  expect((await answerOf(startClaimant(file))).answer).toContain('in use by another process');
});

test('a symbolic link leads to the same claim', () => {
  writeFileSync(file, '');
  symlinkSync(file, join(folder, 'link.db'));
  claim();
  expect(() => claim(join(folder, 'link.db'))).toThrow(/in use by another process/);
});

test('release frees the database and takes the note away', async () => {
  const first = claim();
  expect(statSync(`${file}.owner.txt`).mode & 0o777).toBe(0o600);
  expect(statSync(`${file}.owner`).mode & 0o777).toBe(0o600);
  first.release();
  expect(existsSync(`${file}.owner.txt`)).toBe(false);
  expect((await answerOf(startClaimant(file))).answer).toBe('claimed');
});

test("a second release does not take the next owner's note away", () => {
  const first = claim();
  first.release();
  claim();
  first.release();
  expect(existsSync(`${file}.owner.txt`)).toBe(true);
});

test('a note that cannot be written gives the lock back', () => {
  mkdirSync(`${file}.owner.txt`);
  expect(() => claim()).toThrow(/cannot write .*ledger\.db\.owner\.txt/);
  rmSync(`${file}.owner.txt`, { recursive: true });
  expect(() => claim()).not.toThrow();
});

test('a missing folder is named', () => {
  expect(() => claim(join(folder, 'nowhere', 'ledger.db'))).toThrow(
    /nowhere\/ledger\.db.*create its folder first/,
  );
});
