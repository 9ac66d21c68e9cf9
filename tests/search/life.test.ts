/** The index beside its ledger: made where there is none, made anew where it does not fit, never trusted. */
import { copyFileSync, existsSync, rmSync, statSync, writeFileSync } from 'node:fs';
import Database from 'better-sqlite3';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { indexFileOf, openHeld } from '../../src/search/held.ts';
import { startSearchIndex } from '../../src/search/host.ts';
import { BASE, CANONICAL, type Indexed, indexed } from './indexed.ts';

let ledger: Indexed;
let file: string;
beforeEach(() => {
  ledger = indexed();
  file = ledger.file;
  ledger.issue(about('a'), about('b'));
  ledger.issue(about('a'));
  ledger.follow();
});
afterEach(() => ledger.close());

const about = (id: string) => ({
  id,
  status: 'final',
  code: { text: 'x' },
  effectiveDateTime: '2024-03-10T08:00:00Z',
});

/** Opens the index again, brings it up to the ledger, and says what it then holds and how much of it was new. */
function reopened(database = file, zone = 'UTC') {
  const held = openHeld({ database, zone, canonical: CANONICAL });
  const found = held.follower.reached();
  while (held.follower.reached() < held.follower.target()) held.follower.step(300);
  const rows = held.db
    .prepare('SELECT id, row, superseded < 9e15 AS old FROM version ORDER BY row')
    .raw()
    .all();
  held.close();
  return { found, rows };
}

const ROWS = [
  ['a', 1, 1],
  ['b', 2, 0],
  // The AuditEvent of each entry, named by its place in the ledger.
  ['0', 3, 0],
  ['a', 4, 0],
  ['1', 5, 0],
];

test('it goes on where it was', () => {
  expect(reopened()).toEqual({ found: 2, rows: ROWS });
  ledger.issue(about('c'));
  expect(reopened()).toEqual({ found: 2, rows: [...ROWS, ['c', 6, 0], ['2', 7, 0]] });
});

test('a batch that is told to end does so after its least, and the next goes on behind it', () => {
  for (const id of ['c', 'd', 'e', 'f']) ledger.issue(about(id));
  const { follower } = ledger.held;
  follower.step(4, 2, () => true);
  expect(follower.reached()).toBe(4);
  follower.step(4, 1, () => false);
  expect(follower.reached()).toBe(6);
  expect(ledger.ids('_sort=_id')).toEqual(['a', 'b', 'c', 'd', 'e', 'f']);
});

test('it is for the eyes of its owner only', () => {
  expect(statSync(indexFileOf(file)).mode & 0o777).toBe(0o600);
});

test.each([
  ['absent', (index: string) => rmSync(index)],
  ['no database', (index: string) => writeFileSync(index, 'x'.repeat(10_000))],
  ['empty', (index: string) => writeFileSync(index, '')],
  ['another database', (index: string) => new Database(index).exec('DROP TABLE meta').close()],
  [
    'of another program',
    (index: string) =>
      new Database(index).exec("UPDATE meta SET value = x'00' WHERE name = 'signature'").close(),
  ],
  [
    'of other entries',
    (index: string) =>
      new Database(index)
        .exec(
          `UPDATE meta SET value = CAST(json_set(CAST(value AS TEXT), '$.hash', 'other') AS BLOB) WHERE name = 'head'`,
        )
        .close(),
  ],
  [
    'ahead of the ledger',
    (index: string) =>
      new Database(index)
        .exec(
          `UPDATE meta SET value = CAST(json_set(CAST(value AS TEXT), '$.logIndex', 99) AS BLOB) WHERE name = 'head'`,
        )
        .close(),
  ],
])('one that is %s is made anew', (_name, spoil) => {
  ledger.held.db.pragma('wal_checkpoint(TRUNCATE)');
  ledger.held.db.close();
  for (const suffix of ['-wal', '-shm']) rmSync(indexFileOf(file) + suffix, { force: true });
  spoil(indexFileOf(file));
  expect(reopened()).toEqual({ found: 0, rows: ROWS });
  expect(reopened().found).toBe(2);
});

test('one that was made in another zone is made anew', () => {
  expect(reopened(file, 'Europe/Berlin')).toEqual({ found: 0, rows: ROWS });
});

test('one that stands beside another ledger is made anew', () => {
  const other = indexed();
  other.issue(about('z'));
  other.issue(about('y'));
  ledger.held.db.pragma('wal_checkpoint(TRUNCATE)');
  other.held.close();
  for (const suffix of ['-wal', '-shm']) rmSync(indexFileOf(other.file) + suffix, { force: true });
  copyFileSync(indexFileOf(file), indexFileOf(other.file));
  // Both ledgers are the same length, and their entries differ in nothing but the hash.
  new Database(other.file)
    .exec("DROP TRIGGER ledger_keeps_words; UPDATE ledger SET hash = hash || 'x'")
    .close();
  expect(reopened(other.file).rows).toEqual([
    ['z', 1, 0],
    ['0', 2, 0],
    ['y', 3, 0],
    ['1', 4, 0],
  ]);
});

test('its thread answers, closes at once when told, and leaves the file', async () => {
  const lines: string[] = [];
  const index = startSearchIndex({
    database: file,
    zone: 'UTC',
    canonical: CANONICAL,
    log: { error: (_facts, message) => lines.push(message) },
  });
  const ask = {
    kind: 'search',
    type: 'Observation',
    pairs: [],
    base: BASE,
    lenient: false,
    within: null,
    readable: ['Observation', 'Device', 'Provenance'],
    nowMs: 0,
  } as const;
  const answers = await Promise.all([index.ask(ask), index.ask({ ...ask, type: 'Patient' })]);
  expect(answers).toEqual([
    { text: expect.stringContaining('"total":2'), drains: [] },
    expect.objectContaining({ status: 404, code: 'not-found' }),
  ]);
  await index.close();
  await expect(index.ask(ask)).rejects.toThrow(/cannot take a question/);
  expect(lines).toEqual([]);
  expect(existsSync(indexFileOf(file))).toBe(true);
});
