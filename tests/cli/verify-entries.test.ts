/** `verify` on entries that somebody did something to: each fails with its own message. */
import type Database from 'better-sqlite3';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import * as by from './tampered.ts';
import { type Bench, openBench, outcome, verify } from './verified.ts';

let bench: Bench;
beforeAll(async () => {
  bench = await openBench();
});
afterAll(() => bench.remove());

describe('an entry', () => {
  const entry8 = `entry 8 (stream ${by.DRAIN}, 4)`;
  const bump = (body: string) => body.replace('"level_ml":70', '"level_ml":71');

  test.each<[string, (db: Database.Database) => void, string]>([
    [
      'edited where it stands',
      (db) => db.exec(`UPDATE payload SET body = replace(body, '"level_ml":70', '"level_ml":71')`),
      `${entry8}: its payload is not the one it commits to`,
    ],
    [
      'edited with its commitment',
      (db) => by.editBody(db, 8, bump),
      `${entry8}: its hash is not that of its envelope`,
    ],
    [
      'edited, and every chain and the tree hashed again',
      (db) => {
        by.editBody(db, 8, bump);
        by.rehash(db);
      },
      'checkpoint 14 of the database: the first 14 entries are not those it speaks of: the history was rewritten',
    ],
    [
      'backdated, and all hashed again',
      (db) => {
        by.editEnvelope(db, 8, (said) => ({ ...said, recorded_at: '2026-01-01T00:00:00.000Z' }));
        by.rehash(db);
      },
      `${entry8}: it was recorded at 2026-01-01T00:00:00.000Z, before the entry before it, at `,
    ],
    [
      'of another log',
      (db) => {
        by.editEnvelope(db, 8, (said) => ({ ...said, origin: 'other.example' }));
        by.rehash(db);
      },
      `${entry8}: it is of the log other.example, and the first one of store.example`,
    ],
    [
      'swapped with the next of its drain',
      (db) =>
        db.exec(
          'UPDATE ledger SET log_index = -1 WHERE log_index = 8; UPDATE ledger SET log_index = 8 WHERE log_index = 10; UPDATE ledger SET log_index = 10 WHERE log_index = -1',
        ),
      `entry 8 (stream ${by.DRAIN}, 5): it follows number 3 of its stream`,
    ],
    [
      'moved to another drain',
      (db) => db.exec(`UPDATE ledger SET stream = 'elsewhere' WHERE log_index = 8`),
      `entry 8 (stream elsewhere, 4): it stands as elsewhere, 4, and its envelope says ${by.DRAIN}, 4`,
    ],
    [
      'that stands twice',
      (db) =>
        db.exec(`INSERT INTO ledger SELECT 16, stream, 99, envelope, hash FROM ledger WHERE log_index = 8;
          INSERT INTO payload SELECT 16, salt, body, receipt FROM payload WHERE log_index = 8`),
      `entry 16 (stream ${by.DRAIN}, 99): it stands as ${by.DRAIN}, 99, and its envelope says ${by.DRAIN}, 4`,
    ],
    [
      'added by hand, and hashed in',
      (db) => {
        db.exec(`INSERT INTO ledger SELECT 16, stream, 9, replace(envelope, '"seq":4', '"seq":9'), hash FROM ledger WHERE log_index = 8;
          INSERT INTO payload SELECT 16, salt, body, receipt FROM payload WHERE log_index = 8`);
        by.editEnvelope(db, 16, (said) => ({ ...said, recorded_at: '2999-01-01T00:00:00.000Z' }));
        by.rehash(db);
      },
      `entry 16 (stream ${by.DRAIN}, 9): it follows number 7 of its stream`,
    ],
    [
      'whose issued text was edited',
      (db) => db.exec(`UPDATE issued SET resources = replace(resources, '70', '71') WHERE log_index = 8`),
      `${entry8}: the texts issued with it are not those it commits to`,
    ],
    [
      'whose frame was edited',
      (db) => db.exec(`UPDATE frame SET text = replace(text, 'final', 'amended') WHERE text LIKE '%final%'`),
      ': its text is not the one it is named after',
    ],
    [
      'to which a text was added',
      (db) => db.exec(`INSERT INTO issued SELECT 'x', 8, resources FROM issued WHERE log_index = 8 LIMIT 1`),
      'issued texts of entry 8: they belong to no entry, or stand out of order',
    ],
    [
      'whose sender’s key was changed',
      (db) => db.exec(`UPDATE identity SET value = 'b' WHERE log_index = 8`),
      `${entry8}: the identifier of its sender is not kept as it was`,
    ],
    [
      'beside which a sender’s key was invented',
      (db) => db.exec(`INSERT INTO identity VALUES ('x', 's', 'v', 'h', 3)`),
      'the identifiers of senders: there are some that belong to no entry',
    ],
  ])('%s is found: 1', (_name, change, said) => {
    const [code, text] = outcome(verify(bench.changed(change), [bench.second]));
    expect(code).toBe(1);
    expect(text).toContain(said);
  });

  test.each<[string, (db: Database.Database) => void, string]>([
    [
      'dropped from the middle',
      (db) => db.exec('DELETE FROM ledger WHERE log_index = 8; DELETE FROM payload WHERE log_index = 8'),
      `entry 8: it is missing: after 7 comes 9`,
    ],
    [
      'whose payload was dropped',
      (db) => db.exec('DELETE FROM payload WHERE log_index = 8'),
      `${entry8}: its payload is missing`,
    ],
    ['whose frame was dropped', (db) => db.exec('DELETE FROM frame'), `: the frame `],
  ])('%s is missed: 2', (_name, change, said) => {
    const [code, text] = outcome(verify(bench.changed(change), [bench.second]));
    expect(code).toBe(2);
    expect(text).toContain(said);
  });
});
