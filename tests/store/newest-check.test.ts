/** What is found wrong with the newest entries of a ledger when it is opened, and that what is older is left to `verify`. */

import { join } from 'node:path';
import type Database from 'better-sqlite3';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { createNewestCheck } from '../../src/store/sqlite/newest-check.ts';
import { openReader } from '../../src/store/sqlite/open.ts';
import * as by from '../cli/tampered.ts';
import { type Bench, openBench } from '../cli/verified.ts';
import { level, placed, setUp, type Told } from '../support/drain-script.ts';
import { incoming, openLedger } from './ledger.ts';

const ALL = 16;
const PATIENT = { patient: { reference: 'Patient/p' } };
let bench: Bench;
beforeAll(async () => {
  bench = await openBench();
});
afterAll(() => bench.remove());

function faultOf(file: string, count: number): string | null {
  const db = openReader(file);
  try {
    return createNewestCheck(db)(count);
  } finally {
    db.close();
  }
}
const changed = (change: (db: Database.Database) => void, count = ALL) =>
  faultOf(bench.changed(change), count);

describe('the newest entries', () => {
  it.each([0, 1, 2, 7, ALL, 1000])('are what they were: %i of a whole ledger', (count) => {
    expect(faultOf(bench.good, count)).toBeNull();
  });

  it.each<[string, (db: Database.Database) => void, RegExp]>([
    [
      'a body of another text',
      (db) => db.exec("UPDATE payload SET body = replace(body, '{', '{ ') WHERE log_index = 15"),
      /^entry 15 \(stream .*\): its payload is not the one it commits to$/,
    ],
    [
      'an issued text of other digits',
      (db) => db.exec("UPDATE issued SET resources = replace(resources, '7', '8') WHERE log_index = 14"),
      /^entry 14 .*: the texts issued with it are not those it commits to$/,
    ],
    [
      'issued texts that are gone',
      (db) => db.exec('DELETE FROM issued WHERE log_index = 14'),
      /^entry 14 .*: the texts issued with it are not those it commits to$/,
    ],
    [
      'an envelope of another time',
      (db) => by.editEnvelope(db, 12, (said) => ({ ...said, effective_at: '2026-03-01T00:00:00Z' })),
      /^entry 12 .*: its hash is not that of its envelope$/,
    ],
    [
      'a payload that is gone',
      (db) => db.exec('DELETE FROM payload WHERE log_index = 13'),
      /^entry 13 .*: its payload is missing$/,
    ],
    [
      'an entry that is gone',
      (db) => db.exec('DELETE FROM ledger WHERE log_index = 13'),
      /^entry 13: it is missing: after 12 comes 14/,
    ],
  ])('are not, by %s', (_, change, said) => {
    expect(changed(change)).toMatch(said);
    expect(changed(change, 5)).toMatch(said);
  });

  it('are held against the entry before each in its stream, also where that is older than they are', () => {
    const other = (db: Database.Database) =>
      db.exec(
        `UPDATE ledger SET hash = iif(hash LIKE '0%', '1', '0') || substr(hash, 2) WHERE log_index = 12`,
      );
    expect(changed(other, 2)).toMatch(
      /the hash of the entry before it in its stream is not the one it names$/,
    );
  });

  it('alone are looked at', () => {
    const old = (db: Database.Database) => db.exec("UPDATE payload SET body = '{}' WHERE log_index = 5");
    expect(changed(old, 10)).toBeNull();
    expect(changed(old, 11)).toMatch(/^entry 5 /);
  });
});

it('knows in which order an entry issued on several drains', async () => {
  const file = join(bench.folder, 'several.db');
  const ledger = openLedger(file);
  const [one, two] = [placed('08:00', PATIENT), { ...placed('08:00', PATIENT), key: 'placed-2' }];
  // Whichever drain a sum of both is kept with, one of the last two entries is on the other.
  const told: readonly [Told, Told][] = [
    [one, one],
    [setUp('08:00', 0), one],
    [two, two],
    [{ ...setUp('08:00', 0), key: 'set-up-2' }, two],
    [level('a', '09:30', 30), one],
    [level('b', '09:30', 40), two],
    [level('d', '10:30', 50), two],
    [level('c', '10:30', 50), one],
  ];
  for (const [each, placement] of told)
    expect(await ledger.record([incoming(each, placement)])).toMatchObject([{ kind: 'recorded' }]);
  const most = 'SELECT max(n) FROM (SELECT count(*) AS n FROM issued GROUP BY log_index)';
  expect(ledger.db.prepare(most).pluck().get()).toBe(2);
  await ledger.close();
  expect(faultOf(file, ALL)).toBeNull();
});
