/** Audit bundles of ledgers from which drains were lawfully erased, checked by both verifiers in them as a stranger would. */
import { copyFileSync, existsSync, mkdtempSync, readdirSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it, test } from 'vitest';
import { incoming, openLedger } from '../store/ledger.ts';
import { level } from '../support/drain-script.ts';
import * as closed from './closed-drains.ts';
import {
  ALWAYS,
  bundle,
  bundling,
  erase,
  eraseAndSign,
  forge,
  type Kept,
  type Line,
  linesOf,
  makeClosed,
  makeParted,
  makeShared,
  NOW,
  streamsOf,
  type Told,
  verified,
} from './erased-bundle-ledgers.ts';
import { PATIENTS_OWN, RIGHT, UNLINKED, WRONG } from './two-patients-bundle.ts';

const folder = mkdtempSync(join(tmpdir(), 'erased-bundle-'));
let ofClosed: Kept;
let shared: Told;
let parted: Told;

beforeAll(async () => {
  ofClosed = await makeClosed(folder);
  shared = await makeShared(folder);
  parted = await makeParted(folder);
});
afterAll(() => rmSync(folder, { recursive: true }));

function copyOf<T extends Kept>(of: T): T {
  const database = join(mkdtempSync(join(folder, 'copy-')), 'ledger.db');
  copyFileSync(of.database, database);
  return { ...of, database };
}

const recordedAt = (line: Line | undefined): string => JSON.parse(line?.envelope ?? '{}').recorded_at;

const touchedIn = (lines: readonly Line[]) => lines.filter(({ erased }) => erased !== undefined);

describe('a bundle of a period', () => {
  it('holds what was erased as what it was: an entry at its place, of which nothing is left to be read', () => {
    const path = bundle(ofClosed, ...ALWAYS);
    const lines = linesOf(path);
    const touched = touchedIn(lines);
    const isOf = ({ stream }: Line) => [closed.drain('left'), closed.drain('right')].includes(stream);
    expect(touched).toEqual(lines.filter(isOf));
    const place = lines.find(({ stream }) => stream === 'erasure')?.log_index;
    for (const line of touched)
      expect(line).toMatchObject({ salt: null, body: null, issued: [], erased: place });
    const text = readdirSync(path)
      .map((name) => readFileSync(join(path, name), 'utf8'))
      .join('');
    expect(text).toMatch(/Patient\/q\b/);
    expect(text).not.toMatch(/Patient\/p\b/);
    expect(readFileSync(join(path, 'README.md'), 'utf8')).toContain('lawfully\nerased for ever');
    expect(verified(path, ofClosed)).toEqual({
      code: 0,
      text:
        `ok: ${lines.length} entries of closed.example, all in its checkpoint of ${lines.length} entries, ` +
        `signed by ${ofClosed.key}; of them lawfully erased: ${touched.length}`,
    });
  });

  it('holds what says that they were erased, though that was later', () => {
    const path = bundle(ofClosed, '--from', '2026-03-01T00:00:00Z', '--to', '2026-04-01T00:00:00Z');
    const lines = linesOf(path);
    const place = lines.at(-1)?.log_index;
    expect(lines.at(-1)).toMatchObject({ stream: 'erasure', seq: 1 });
    const { to_index } = JSON.parse(readFileSync(join(path, 'manifest.json'), 'utf8')).about;
    expect(place).toBeGreaterThan(to_index);
    expect(new Set(touchedIn(lines).map(({ erased }) => erased))).toEqual(new Set([place]));
    expect(verified(path, ofClosed).code).toBe(0);
  });

  it('holds nothing of an erasure that says nothing of it', () => {
    const own = linesOf(bundle(ofClosed, '--drain', closed.drain('today')));
    const from = recordedAt(own.find(({ stream }) => stream === closed.drain('today')));
    const path = bundle(ofClosed, '--from', from, '--to', new Date(Date.parse(from) + 1).toISOString());
    expect(streamsOf(path)).toContain(closed.drain('today'));
    expect(streamsOf(path)).not.toContain('erasure');
    expect(verified(path, ofClosed).code).toBe(0);
  });

  it('holds the text that was left with an erased entry, and the steps that were left of those that an entry tells of', () => {
    const path = bundle(shared, ...ALWAYS);
    const lines = linesOf(path);
    const [was, is] = [shared.before[7], lines[7]];
    expect(was).toMatchObject({ stream: WRONG, body: expect.stringContaining('moved') });
    expect(is).toMatchObject({ body: null, salt: null, issued: was?.issued, erased: shared.tombstone });
    expect(is?.issued).toHaveLength(1);
    const stepsOf = (some: readonly Line[]) => some.flatMap(({ steps = [] }) => steps);
    const gone = lines.filter(({ body }) => body === null);
    expect(gone.map(({ log_index }) => log_index)).toEqual(expect.arrayContaining([2, 4, 7, 10]));
    const own = stepsOf(shared.before).filter(({ text }) => !text.includes(RIGHT));
    expect([stepsOf(shared.before).length, stepsOf(lines)]).toEqual([own.length + 1, own]);
    expect(verified(path, shared)).toMatchObject({
      code: 0,
      text: expect.stringContaining(`; of them lawfully erased: ${gone.length}`),
    });
  });
});

describe('a bundle of a period of deliveries alone', () => {
  it('holds what says that steps were erased, as of a period none may be missing', () => {
    const from = recordedAt(shared.before[14]);
    const path = bundle(shared, '--from', from, '--to', new Date(Date.parse(from) + 1).toISOString());
    const lines = linesOf(path).filter(({ stream }) => stream !== 'log');
    expect(lines.map(({ log_index, stream }) => [log_index, stream]).slice(-2)).toEqual([
      [14, 'delivery'],
      [shared.tombstone, 'erasure'],
    ]);
    expect(touchedIn(lines)).toEqual([]);
    expect(verified(path, shared).code).toBe(0);
    forge(path, withoutTombstone);
    expect(verified(path, shared)).toEqual({
      code: 2,
      text: 'entry 14 (stream delivery, 2): a delivery event that it tells of is missing',
    });
  });
});

describe('a bundle of another drain or patient', () => {
  it('holds nothing of an erasure of steps alone that were told of with its own', async () => {
    const sent = copyOf(ofClosed);
    const [erased, own] = [closed.drain('waiting'), closed.drain('still')];
    const ledger = openLedger(sent.database, { origin: sent.log });
    const told = level('later', '11:00', 100);
    await ledger.record([{ ...incoming(told, told), drain: own }]);
    const claimed = await ledger.store.claim('ehr', NOW, NOW + 500, 9, []);
    expect(claimed.map(({ drain }) => drain).sort()).toEqual([erased, own].sort());
    await ledger.close();
    await eraseAndSign(sent, [erased]);
    const path = bundle(sent, '--drain', own);
    const [sending] = linesOf(path).filter(({ stream }) => stream === 'delivery');
    expect(JSON.parse(sending?.body ?? '').hashes).toHaveLength(2);
    expect(sending?.steps?.map(({ text }) => JSON.parse(text).drain)).toEqual([own]);
    expect(streamsOf(path)).not.toContain('erasure');
    expect(verified(path, sent).code).toBe(0);
  });

  it('is as it was where the erasure says nothing of it', () => {
    const path = bundle(ofClosed, '--patient', 'Patient/q');
    expect(streamsOf(path)).not.toContain('erasure');
    expect(verified(path, ofClosed)).toMatchObject({ code: 0, text: expect.not.stringContaining('erased') });
  });

  it('holds an entry of its stream that counted for what was erased, and what says so', () => {
    const path = bundle(shared, '--drain', WRONG);
    const lines = linesOf(path);
    expect(touchedIn(lines).map(({ log_index }) => log_index)).toEqual([7]);
    expect(lines.at(-1)).toMatchObject({ log_index: shared.tombstone, stream: 'erasure' });
    expect(verified(path, shared)).toMatchObject({
      code: 0,
      text: expect.stringContaining('; of them lawfully erased: 1'),
    });
  });

  it('holds what its own entries say, without the texts that they issued for what was erased', () => {
    const path = bundle(parted, '--drain', UNLINKED);
    const lines = linesOf(path);
    const touched = touchedIn(lines);
    expect(touched).not.toEqual([]);
    for (const { log_index, stream, body, issued } of touched) {
      const was = parted.before[log_index];
      expect({ stream, body }).toEqual({ stream: UNLINKED, body: was?.body });
      expect(issued).toEqual(was?.issued.filter((text) => issued.includes(text)));
      expect(issued.length).toBeLessThan(was?.issued.length ?? 0);
    }
    expect(lines.at(-1)).toMatchObject({ stream: 'erasure' });
    expect(readFileSync(join(path, 'resources.ndjson'), 'utf8')).not.toContain(PATIENTS_OWN);
    expect(verified(path, parted)).toMatchObject({ code: 0, text: expect.not.stringContaining('erased') });
  });

  test.each([
    ['every text that was issued', (was: Line) => was.issued],
    ['no text', () => []],
  ])('is found to be another with %s', (_, texts) => {
    const path = bundle(parted, '--drain', UNLINKED);
    const [one] = touchedIn(linesOf(path)).filter(({ issued }) => issued.length > 0);
    const place = one?.log_index ?? -1;
    forge(
      path,
      edited((lines) => Object.assign(at(lines, place), { issued: texts(parted.before[place] as Line) })),
    );
    expect(verified(path, parted)).toEqual({
      code: 1,
      text: `entry ${place} (stream ${UNLINKED}, ${one?.seq}): the texts issued with it are not those that entry ${one?.erased} left`,
    });
  });
});

test('what was erased twice is told by the newer of both, and both are here', async () => {
  const twice = copyOf(shared);
  const newer = await eraseAndSign(twice, [WRONG]);
  const path = bundle(twice, ...ALWAYS);
  const lines = linesOf(path);
  const erasedBy = new Map(touchedIn(lines).map(({ log_index, erased }) => [log_index, erased]));
  expect([erasedBy.get(2), erasedBy.get(7)]).toEqual([shared.tombstone, newer]);
  expect(lines[7]).toMatchObject({ body: null, issued: [] });
  expect(verified(path, twice).code).toBe(0);
});

test('there is none of what was erased, nor of what no checkpoint covers as it is now', async () => {
  const out = join(folder, 'none');
  expect(bundling(shared, '--drain', RIGHT, '--out', out)).toMatchObject({
    status: 64,
    stderr: expect.stringContaining(`${RIGHT} was erased, as entry ${shared.tombstone} says`),
  });
  const unsigned = copyOf(shared);
  const late = await erase(unsigned, [WRONG]);
  expect(bundling(unsigned, ...ALWAYS, '--out', out)).toMatchObject({
    status: 64,
    stderr: expect.stringContaining(
      `entry ${late} tells what was erased of this, and no checkpoint covers it`,
    ),
  });
  expect(existsSync(out)).toBe(false);
});

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
    edited((lines) =>
      Object.assign(at(lines, 7), { salt: shared.before[7]?.salt, body: shared.before[7]?.body }),
    ),
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
    edited((lines) => Object.assign(at(lines, 14), { steps: shared.before[14]?.steps })),
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
  const path = what.includes('step') ? bundle(shared, ...ALWAYS) : bundle(shared, '--drain', WRONG);
  forge(path, change);
  expect(verified(path, shared)).toEqual({ code, text });
});
