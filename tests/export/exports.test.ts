/** Bulk exports on disk: what outlives a restart, what goes away and when, and what is told where one fails. */
import { existsSync, mkdirSync, readdirSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { type AskedExport, type Exports, KEPT_MS, openExports } from '../../src/export/bulk/exports.ts';
import type { Output } from '../../src/export/bulk/job.ts';
import { incoming, type Ledger, openLedger, temporaryFile } from '../store/ledger.ts';
import { placed, sampled } from '../support/drain-script.ts';

const PLACED = placed('08:00', { patient: { reference: 'Patient/1' } });
const ASKED: AskedExport = {
  client: 'warehouse',
  request: 'http://fhir.example/fhir/$export',
  types: ['Observation', 'Provenance'],
  ofPatients: false,
  sinceMs: null,
  leftOut: [],
};

let ledger: Ledger;
let folder: string;
let remove: () => void;
let nowMs: number;
const lines: string[] = [];
const opened: Exports[] = [];

beforeEach(async () => {
  const temporary = temporaryFile();
  remove = temporary.remove;
  ledger = openLedger(temporary.file);
  folder = join(dirname(temporary.file), 'exports');
  await ledger.record([incoming(PLACED, PLACED)]);
  for (let n = 0; n < 30; n += 1)
    await ledger.record([incoming(sampled(`s${n}`, `09:${String(n).padStart(2, '0')}`, n + 1), PLACED)]);
  // Later than all that was recorded.
  nowMs = Date.now() + 1000;
  lines.length = 0;
});
afterEach(async () => {
  for (const each of opened.splice(0)) await each.close();
  await ledger.close();
  remove();
});

function open(database = ledger.file): Exports {
  const told = (facts: object, message: string) => lines.push(`${message} ${JSON.stringify(facts)}`);
  const exports = openExports({ database, folder, log: { info: told, error: told }, now: () => nowMs });
  opened.push(exports);
  return exports;
}

async function start(exports: Exports, more: Partial<AskedExport> = {}): Promise<string> {
  const id = await exports.start({ ...ASKED, ...more });
  if (id === null) throw new Error('it was not taken');
  return id;
}

const stateOf = (exports: Exports, id: string, client = 'warehouse') =>
  exports.find(id, client)?.job.state.is;

async function written(exports: Exports, id: string): Promise<Readonly<Record<string, string>>> {
  await expect.poll(() => stateOf(exports, id), { timeout: 10_000 }).toBe('complete');
  const state = exports.find(id, 'warehouse')?.job.state;
  const outputs: readonly Output[] = state?.is === 'complete' ? state.outputs : [];
  return Object.fromEntries(
    outputs.map(({ name }) => [name, readFileSync(exports.file(id, 'warehouse', name)?.path ?? '', 'utf8')]),
  );
}

test('one that was under way when the process ended is written anew, and is the same', async () => {
  const first = open();
  const whole = await written(first, await start(first));
  expect(Object.keys(whole).sort()).toEqual(['Observation.1.ndjson', 'Provenance.1.ndjson']);
  const cut = await start(first);
  await first.close();
  // As a kill leaves it: half a file, and an export that is not complete. What is recorded meanwhile is later.
  mkdirSync(join(folder, cut, 'files'), { recursive: true });
  writeFileSync(join(folder, cut, 'files', 'Provenance.1.ndjson'), '{"resourceType":"Prov');
  const job = JSON.parse(readFileSync(join(folder, cut, 'job.json'), 'utf8'));
  writeFileSync(join(folder, cut, 'job.json'), JSON.stringify({ ...job, state: { is: 'waiting' } }));
  expect(await written(open(), cut)).toEqual(whole);
});

test('a complete one is there after a restart, and goes when its time is over', async () => {
  const first = open();
  const id = await start(first);
  const whole = await written(first, id);
  await first.close();
  const second = open();
  expect(await written(second, id)).toEqual(whole);
  nowMs += KEPT_MS - 1000;
  expect(stateOf(second, id)).toBe('complete');
  nowMs += 2000;
  expect(stateOf(second, id)).toBeUndefined();
  expect(second.file(id, 'warehouse', Object.keys(whole)[0] ?? '')).toBeUndefined();
  await second.close();
  open();
  await expect.poll(() => existsSync(join(folder, id))).toBe(false);
});

test('it is for the eyes of its owner only, and of the client that asked', async () => {
  const exports = open();
  const id = await start(exports);
  const [name = ''] = Object.keys(await written(exports, id));
  const modes = [folder, join(folder, id), join(folder, id, 'files')].map(
    (path) => statSync(path).mode & 0o777,
  );
  expect(modes).toEqual([0o700, 0o700, 0o700]);
  for (const path of [join(folder, id, 'job.json'), join(folder, id, 'files', name)])
    expect(statSync(path).mode & 0o777).toBe(0o600);
  expect(stateOf(exports, id, 'another')).toBeUndefined();
  expect(exports.file(id, 'another', name)).toBeUndefined();
  expect(await exports.remove(id, 'another')).toBe(false);
  expect(stateOf(exports, id)).toBe('complete');
});

test('one that is removed while it is written leaves nothing, and the next is written', async () => {
  const exports = open();
  const gone = await start(exports);
  expect(await exports.remove(gone, 'warehouse')).toBe(true);
  const id = await start(exports);
  await written(exports, id);
  expect(readdirSync(folder)).toEqual([id]);
});

test('one that fails says so, by a code, and keeps no half of it', async () => {
  const exports = open(join(folder, 'no-such-ledger.db'));
  const id = await start(exports);
  await expect.poll(() => stateOf(exports, id), { timeout: 10_000 }).toBe('failed');
  await exports.close();
  expect(readdirSync(join(folder, id))).toEqual(['job.json']);
  expect(lines).toEqual([expect.stringMatching(/^an export failed \{"why":"\w+"\}$/)]);
  expect(stateOf(open(), id)).toBe('failed');
});

test('so many are kept and no more, until one is removed', async () => {
  const exports = open();
  const ids: string[] = [];
  for (let id = await exports.start(ASKED); id !== null; id = await exports.start(ASKED)) ids.push(id);
  expect(ids).toHaveLength(20);
  expect(await exports.remove(ids[0] ?? '', 'warehouse')).toBe(true);
  expect(await exports.start(ASKED)).toEqual(expect.any(String));
});

test('so many are kept and no more, also where all are asked for at once', async () => {
  const exports = open();
  const ids = await Promise.all(Array.from({ length: 25 }, () => exports.start(ASKED)));
  expect(ids.filter((id) => id !== null)).toHaveLength(20);
});

test('one that cannot be begun takes no place', async () => {
  const exports = open();
  rmSync(folder, { recursive: true });
  for (let n = 0; n < 20; n += 1) await expect(exports.start(ASKED)).rejects.toThrow('ENOENT');
  mkdirSync(folder);
  expect(await exports.start(ASKED)).toEqual(expect.any(String));
});

test('the end of the process does not wait for one that is just beginning', async () => {
  const exports = open();
  const id = await start(exports);
  await exports.close();
  expect(JSON.parse(readFileSync(join(folder, id, 'job.json'), 'utf8')).state).toEqual({ is: 'waiting' });
});

test('nothing else in its folder is touched', async () => {
  mkdirSync(join(folder, 'of-others'), { recursive: true });
  mkdirSync(join(folder, 'x'.repeat(22)));
  writeFileSync(join(folder, 'notes.txt'), 'keep me');
  open();
  expect(readdirSync(folder).sort()).toEqual(['notes.txt', 'of-others']);
});
