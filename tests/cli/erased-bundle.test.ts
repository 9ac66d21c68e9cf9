/** Audit bundles of ledgers from which drains were lawfully erased, checked by both verifiers in them as a stranger would. */
import { spawnSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import {
  copyFileSync,
  cpSync,
  existsSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, beforeAll, describe, expect, it, test } from 'vitest';
import { rawPublicKey, writeVerifierKey } from '../../src/audit/checkpoint.ts';
import { incoming, openLedger } from '../store/ledger.ts';
import { level, NURSE } from '../support/drain-script.ts';
import * as closed from './closed-drains.ts';
import * as by from './tampered.ts';
import {
  makeTwoPatients,
  makeUnlinked,
  PATIENTS_OWN,
  RIGHT,
  UNLINKED,
  WRONG,
} from './two-patients-bundle.ts';

const CLI = fileURLToPath(new URL('../../dist/cli/main.js', import.meta.url));
const folder = mkdtempSync(join(tmpdir(), 'erased-bundle-'));
afterAll(() => rmSync(folder, { recursive: true }));

const hasPython = spawnSync('python3', ['--version']).status === 0;
if (!hasPython) {
  const reason = 'python3 is missing on this machine: bundles were verified by verify.mjs alone';
  if (process.env.CI === 'true') throw new Error(reason);
  console.warn(`skipped: ${reason}`);
}

interface Kept {
  readonly database: string;
  readonly log: string;
  readonly key: string;
}
/** Of a patient whose drains are closed all was erased. */
const CLOSED: Kept = {
  database: join(folder, 'closed.db'),
  log: closed.LOG,
  key: writeVerifierKey(closed.LOG, rawPublicKey(closed.key)),
};
/** The drain was erased for which counts what stands in the stream of another; both were sent from in one go. */
const SHARED: Kept = {
  database: join(folder, 'shared.db'),
  log: by.LOG,
  key: writeVerifierKey(by.LOG, by.PUBLIC),
};
/** A drain was linked to the patient of another one for a while, so that with entries of each texts of both were issued. */
const PARTED: Kept = { ...SHARED, database: join(folder, 'parted.db') };
const NOW = 2_000_000_000_000;
const ALWAYS = ['--from', '2000-01-01T00:00:00Z', '--to', '2999-01-01T00:00:00Z'];

interface Line {
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
/** Lines of the shared and of the parted ledger from before anything was erased. */
let before: readonly Line[];
let beforeParted: readonly Line[];
/** Place of the entry that says what was erased of it. */
let tombstone: number;

async function erase(
  { database, log }: Kept,
  drains: readonly string[],
  sign?: Parameters<typeof signOn>[1],
) {
  const ledger = openLedger(database, { origin: log, targets: [] });
  const { logIndex } = await ledger.store.erase(NURSE, { drains, messages: [], reason: 'invented' });
  await ledger.close();
  if (sign !== undefined) await signOn({ database, log }, sign);
  return logIndex;
}
async function signOn({ database, log }: Omit<Kept, 'key'>, sign: typeof closed.sign): Promise<void> {
  const ledger = openLedger(database, { origin: log, targets: [] });
  await ledger.store.checkpoint(sign);
  await ledger.close();
}

beforeAll(async () => {
  if (!existsSync(CLI)) throw new Error(`${CLI} is missing: npm run build`);
  await closed.makeClosedDrains(CLOSED.database);
  await erase(CLOSED, [closed.drain('left'), closed.drain('right')], closed.sign);

  await makeTwoPatients(SHARED.database);
  const ledger = openLedger(SHARED.database, { origin: by.LOG });
  await ledger.store.noteServed(['ehr'], NOW);
  expect(await ledger.store.claim('ehr', NOW, NOW + 500, 9, [])).toHaveLength(2);
  await ledger.close();
  await signOn(SHARED, by.sign(by.key));
  before = linesOf(bundle(SHARED, ...ALWAYS));
  tombstone = await erase(SHARED, [RIGHT], by.sign(by.key));

  await makeUnlinked(PARTED.database);
  beforeParted = linesOf(bundle(PARTED, ...ALWAYS));
  await erase(PARTED, [PATIENTS_OWN], by.sign(by.key));
});

const bundling = ({ database, log }: Kept, ...args: string[]) =>
  spawnSync(process.execPath, [CLI, 'audit-bundle', ...args], {
    env: { PATH: process.env.PATH, DRAINLEDGER_ORIGIN: log, DRAINLEDGER_DATABASE: database },
    encoding: 'utf8',
  });

let made = 0;
function bundle(of: Kept, ...wanted: string[]): string {
  made += 1;
  const out = join(folder, `bundle-${made}`);
  expect(bundling(of, ...wanted, '--out', out)).toMatchObject({ status: 0, stderr: '' });
  return out;
}

const linesOf = (path: string): Line[] =>
  readFileSync(join(path, 'entries.ndjson'), 'utf8')
    .split('\n')
    .slice(0, -1)
    .map((line) => JSON.parse(line) as Line);

/** By both, in a copy with no environment: what the first says, and the code that they agree on. */
function verified(path: string, { key }: Kept): { readonly code: number | null; readonly text: string } {
  const alone = mkdtempSync(join(tmpdir(), 'alone-'));
  cpSync(path, alone, { recursive: true });
  const run = (command: string, script: string) =>
    spawnSync(command, [script, '--key', key], { cwd: alone, env: {}, encoding: 'utf8' });
  const first = run(process.execPath, 'verify.mjs');
  if (hasPython) {
    const python = process.platform === 'win32' ? 'python3' : '/usr/bin/env';
    const second = spawnSync(python, ['python3', 'verify.py', '--key', key], {
      cwd: alone,
      encoding: 'utf8',
    });
    expect({ code: second.status, err: second.stderr }).toEqual({ code: first.status, err: '' });
    if (first.status === 0) expect(second.stdout).toBe(first.stdout);
    else expect(first.stdout).toContain(second.stdout.trim().replace(/^[a-z ]+: /, ''));
  }
  rmSync(alone, { recursive: true });
  return { code: first.status, text: (first.stdout + first.stderr).trim() };
}

const recordedAt = (line: Line | undefined): string => JSON.parse(line?.envelope ?? '{}').recorded_at;

const touchedIn = (lines: readonly Line[]) => lines.filter(({ erased }) => erased !== undefined);

describe('a bundle of a period', () => {
  it('holds what was erased as what it was: an entry at its place, of which nothing is left to be read', () => {
    const path = bundle(CLOSED, ...ALWAYS);
    const lines = linesOf(path);
    const touched = touchedIn(lines);
    const isOf = ({ stream }: Line) => [closed.drain('left'), closed.drain('right')].includes(stream);
    expect(touched).toEqual(lines.filter(isOf));
    const place = lines.find(({ stream }) => stream === 'erasure')?.log_index;
    for (const line of touched)
      expect(line).toMatchObject({ salt: null, body: null, issued: [], erased: place });
    for (const name of readdirSync(path))
      expect(readFileSync(join(path, name), 'utf8')).not.toContain('Patient/p"');
    expect(readFileSync(join(path, 'README.md'), 'utf8')).toContain('lawfully\nerased for ever');
    expect(verified(path, CLOSED)).toEqual({
      code: 0,
      text:
        `ok: ${lines.length} entries of closed.example, all in its checkpoint of ${lines.length} entries, ` +
        `signed by ${CLOSED.key}; of them lawfully erased: ${touched.length}`,
    });
  });

  it('holds what says that they were erased, though that was later', () => {
    const path = bundle(CLOSED, '--from', '2026-03-01T00:00:00Z', '--to', '2026-04-01T00:00:00Z');
    const lines = linesOf(path);
    const place = lines.at(-1)?.log_index;
    expect(lines.at(-1)).toMatchObject({ stream: 'erasure', seq: 1 });
    const { to_index } = JSON.parse(readFileSync(join(path, 'manifest.json'), 'utf8')).about;
    expect(place).toBeGreaterThan(to_index);
    expect(new Set(touchedIn(lines).map(({ erased }) => erased))).toEqual(new Set([place]));
    expect(verified(path, CLOSED).code).toBe(0);
  });

  it('holds nothing of an erasure that says nothing of it', () => {
    const own = linesOf(bundle(CLOSED, '--drain', closed.drain('today')));
    const from = recordedAt(own.find(({ stream }) => stream === closed.drain('today')));
    const path = bundle(CLOSED, '--from', from, '--to', new Date(Date.parse(from) + 1).toISOString());
    expect(linesOf(path).map(({ stream }) => stream)).toContain(closed.drain('today'));
    expect(linesOf(path).map(({ stream }) => stream)).not.toContain('erasure');
    expect(verified(path, CLOSED).code).toBe(0);
  });

  it('holds the text that was left with an erased entry, and the steps that were left of those that an entry tells of', () => {
    const path = bundle(SHARED, ...ALWAYS);
    const lines = linesOf(path);
    const [was, is] = [before[7], lines[7]];
    expect(was).toMatchObject({ stream: WRONG, body: expect.stringContaining('moved') });
    expect(is).toMatchObject({ body: null, salt: null, issued: was?.issued, erased: tombstone });
    expect(is?.issued).toHaveLength(1);
    const stepsOf = (some: readonly Line[]) => some.flatMap(({ steps = [] }) => steps);
    const gone = lines.filter(({ body }) => body === null);
    expect(gone.map(({ log_index }) => log_index)).toEqual(expect.arrayContaining([2, 4, 7, 10]));
    const own = stepsOf(before).filter(({ text }) => !text.includes(RIGHT));
    expect([stepsOf(before).length, stepsOf(lines)]).toEqual([own.length + 1, own]);
    expect(verified(path, SHARED)).toMatchObject({
      code: 0,
      text: expect.stringContaining(`; of them lawfully erased: ${gone.length}`),
    });
  });
});

describe('a bundle of a period of deliveries alone', () => {
  it('holds what says that steps were erased, as of a period none may be missing', () => {
    const from = recordedAt(before[14]);
    const path = bundle(SHARED, '--from', from, '--to', new Date(Date.parse(from) + 1).toISOString());
    const lines = linesOf(path).filter(({ stream }) => stream !== 'log');
    expect(lines.map(({ log_index, stream }) => [log_index, stream]).slice(-2)).toEqual([
      [14, 'delivery'],
      [tombstone, 'erasure'],
    ]);
    expect(touchedIn(lines)).toEqual([]);
    expect(verified(path, SHARED).code).toBe(0);
    forge(path, withoutTombstone);
    expect(verified(path, SHARED)).toEqual({
      code: 2,
      text: 'entry 14 (stream delivery, 2): a delivery event that it tells of is missing',
    });
  });
});

describe('a bundle of another drain or patient', () => {
  it('holds nothing of an erasure of steps alone that were told of with its own', async () => {
    const sent = { ...CLOSED, database: join(folder, 'sent.db') };
    copyFileSync(CLOSED.database, sent.database);
    const [erased, own] = [closed.drain('waiting'), closed.drain('still')];
    const ledger = openLedger(sent.database, { origin: sent.log });
    const told = level('later', '11:00', 100);
    await ledger.record([{ ...incoming(told, told), drain: own }]);
    const claimed = await ledger.store.claim('ehr', NOW, NOW + 500, 9, []);
    expect(claimed.map(({ drain }) => drain).sort()).toEqual([erased, own].sort());
    await ledger.close();
    await erase(sent, [erased], closed.sign);
    const path = bundle(sent, '--drain', own);
    const [sending] = linesOf(path).filter(({ stream }) => stream === 'delivery');
    expect(JSON.parse(sending?.body ?? '').hashes).toHaveLength(2);
    expect(sending?.steps?.map(({ text }) => JSON.parse(text).drain)).toEqual([own]);
    expect(linesOf(path).map(({ stream }) => stream)).not.toContain('erasure');
    expect(verified(path, sent).code).toBe(0);
  });

  it('is as it was where the erasure says nothing of it', () => {
    const path = bundle(CLOSED, '--patient', 'Patient/q');
    expect(linesOf(path).map(({ stream }) => stream)).not.toContain('erasure');
    expect(verified(path, CLOSED)).toMatchObject({ code: 0, text: expect.not.stringContaining('erased') });
  });

  it('holds an entry of its stream that counted for what was erased, and what says so', () => {
    const path = bundle(SHARED, '--drain', WRONG);
    const lines = linesOf(path);
    expect(touchedIn(lines).map(({ log_index }) => log_index)).toEqual([7]);
    expect(lines.at(-1)).toMatchObject({ log_index: tombstone, stream: 'erasure' });
    expect(verified(path, SHARED)).toMatchObject({
      code: 0,
      text: expect.stringContaining('; of them lawfully erased: 1'),
    });
  });

  it('holds what its own entries say, without the texts that they issued for what was erased', () => {
    const path = bundle(PARTED, '--drain', UNLINKED);
    const lines = linesOf(path);
    const touched = touchedIn(lines);
    expect(touched).not.toEqual([]);
    for (const { log_index, stream, body, issued } of touched) {
      const was = beforeParted[log_index];
      expect({ stream, body }).toEqual({ stream: UNLINKED, body: was?.body });
      expect(issued).toEqual(was?.issued.filter((text) => issued.includes(text)));
      expect(issued.length).toBeLessThan(was?.issued.length ?? 0);
    }
    expect(lines.at(-1)).toMatchObject({ stream: 'erasure' });
    expect(readFileSync(join(path, 'resources.ndjson'), 'utf8')).not.toContain(PATIENTS_OWN);
    expect(verified(path, PARTED)).toMatchObject({ code: 0, text: expect.not.stringContaining('erased') });
  });

  test.each([
    ['every text that was issued', (was: Line) => was.issued],
    ['no text', () => []],
  ])('is found to be another with %s', (_, texts) => {
    const path = bundle(PARTED, '--drain', UNLINKED);
    const [one] = touchedIn(linesOf(path)).filter(({ issued }) => issued.length > 0);
    const place = one?.log_index ?? -1;
    forge(
      path,
      edited((lines) => Object.assign(at(lines, place), { issued: texts(beforeParted[place] as Line) })),
    );
    expect(verified(path, PARTED)).toEqual({
      code: 1,
      text: `entry ${place} (stream ${UNLINKED}, ${one?.seq}): the texts issued with it are not those that entry ${one?.erased} left`,
    });
  });
});

test('what was erased twice is told by the newer of both, and both are here', async () => {
  const twice = { ...SHARED, database: join(folder, 'twice.db') };
  copyFileSync(SHARED.database, twice.database);
  const newer = await erase(twice, [WRONG], by.sign(by.key));
  const path = bundle(twice, ...ALWAYS);
  const lines = linesOf(path);
  const erasedBy = new Map(touchedIn(lines).map(({ log_index, erased }) => [log_index, erased]));
  expect([erasedBy.get(2), erasedBy.get(7)]).toEqual([tombstone, newer]);
  expect(lines[7]).toMatchObject({ body: null, issued: [] });
  expect(verified(path, twice).code).toBe(0);
});

test('there is none of what was erased, nor of what no checkpoint covers as it is now', async () => {
  const out = join(folder, 'none');
  expect(bundling(SHARED, '--drain', RIGHT, '--out', out)).toMatchObject({
    status: 64,
    stderr: expect.stringContaining(`${RIGHT} was erased, as entry ${tombstone} says`),
  });
  const unsigned = { ...SHARED, database: join(folder, 'unsigned.db') };
  copyFileSync(SHARED.database, unsigned.database);
  const late = await erase(unsigned, [WRONG]);
  expect(bundling(unsigned, ...ALWAYS, '--out', out)).toMatchObject({
    status: 64,
    stderr: expect.stringContaining(
      `entry ${late} tells what was erased of this, and no checkpoint covers it`,
    ),
  });
  expect(existsSync(out)).toBe(false);
});

/** Edits the lines of a bundle, and lists them in the manifest as they are then. */
function forge(path: string, change: (lines: Line[]) => readonly Line[]): void {
  const text = change(linesOf(path))
    .map((line) => `${JSON.stringify(line)}\n`)
    .join('');
  expect(text).not.toBe(readFileSync(join(path, 'entries.ndjson'), 'utf8'));
  writeFileSync(join(path, 'entries.ndjson'), text);
  const manifest = JSON.parse(readFileSync(join(path, 'manifest.json'), 'utf8'));
  manifest.files['entries.ndjson'] = createHash('sha256').update(text).digest('hex');
  writeFileSync(join(path, 'manifest.json'), JSON.stringify(manifest));
}

const at = (lines: readonly Line[], index: number): Line => {
  const line = lines.find(({ log_index }) => log_index === index);
  if (line === undefined) throw new Error(`no entry ${index}`);
  return line;
};
const edited = (change: (lines: Line[]) => unknown) => (lines: Line[]) => {
  change(lines);
  return lines;
};
const withoutTombstone = (lines: Line[]) => lines.filter(({ stream }) => stream !== 'erasure');
const ENTRY_7 = `entry 7 (stream ${WRONG}, 2)`;
const TOMBSTONE = 'entry 15 (stream erasure, 1)';

test.each<[what: string, change: (lines: Line[]) => readonly Line[], code: number, text: string]>([
  [
    'a payload put back',
    edited((lines) => Object.assign(at(lines, 7), { salt: before[7]?.salt, body: before[7]?.body })),
    1,
    `${ENTRY_7}: its payload is here, and entry 15 says that it was erased`,
  ],
  [
    'a payload taken out that was not erased',
    edited((lines) => Object.assign(at(lines, 1), { salt: null, body: null })),
    2,
    `entry 1 (stream ${WRONG}, 1): its payload is missing`,
  ],
  [
    'what says that it was erased left out',
    withoutTombstone,
    2,
    `${ENTRY_7}: entry 15, which says what was erased of it, is not here`,
  ],
  [
    'the same, and no word of it',
    edited((lines) =>
      lines.splice(0, lines.length, ...withoutTombstone(lines)).map((line) => delete line.erased),
    ),
    2,
    `${ENTRY_7}: its payload is missing`,
  ],
  [
    'the text that was left taken out',
    edited((lines) => Object.assign(at(lines, 7), { issued: [] })),
    1,
    `${ENTRY_7}: the texts issued with it are not those that entry 15 left`,
  ],
  [
    'a step put back',
    edited((lines) => Object.assign(at(lines, 14), { steps: before[14]?.steps })),
    1,
    'entry 14 (stream delivery, 2): delivery event 3 is here, and entry 15 says that it was erased',
  ],
  [
    'what the erasure says changed',
    edited((lines) =>
      Object.assign(at(lines, 15), { body: at(lines, 15).body?.replace('"entries":[[2,2],', '"entries":[') }),
    ),
    1,
    `${TOMBSTONE}: its payload is not the one it commits to`,
  ],
  [
    'an entry said to be erased that was not',
    edited((lines) => Object.assign(at(lines, 1), { erased: 15 })),
    1,
    `entry 1 (stream ${WRONG}, 1): entry 15 erased nothing of it`,
  ],
  [
    'no word of the erasure',
    edited((lines) => delete at(lines, 7).erased),
    1,
    `${ENTRY_7}: it does not name entry 15, which erased of it last`,
  ],
])('%s is found, and named', (what, change, code, text) => {
  // Of the drain that is left; the steps of the other one are due in a period alone.
  const path = what.includes('step') ? bundle(SHARED, ...ALWAYS) : bundle(SHARED, '--drain', WRONG);
  forge(path, change);
  expect(verified(path, SHARED)).toEqual({ code, text });
});
