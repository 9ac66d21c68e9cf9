/** Single bits flipped anywhere in the file: whatever changes a byte that is vouched for is found. */
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import Database from 'better-sqlite3';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { seeded } from '../e2e/story.ts';
import * as by from './tampered.ts';
import { type Bench, openBench, verify } from './verified.ts';

const FLIPS = 400;
const seed = Number(process.env.SEED ?? Date.now() % 1_000_000);

/** What is vouched for. The rest: answers that senders got, hashes of requests, indexes that are made from entries, where deliveries stand. */
const VOUCHED_FOR = [
  'SELECT * FROM ledger ORDER BY log_index',
  'SELECT log_index, hex(salt), body FROM payload ORDER BY log_index',
  'SELECT * FROM issued ORDER BY rowid',
  'SELECT * FROM frame ORDER BY name',
  'SELECT entry_id, system, value, log_index FROM identity ORDER BY entry_id',
  'SELECT * FROM checkpoint ORDER BY size',
  'SELECT size, hex(frontier) FROM tree',
  'SELECT * FROM tile',
  'SELECT *, hex(salt) FROM delivery_event ORDER BY event',
  'SELECT type, name, sql FROM sqlite_schema ORDER BY type, name',
];

let bench: Bench;
beforeAll(async () => {
  bench = await openBench();
  await by.claimAndRead(bench.good);
});
afterAll(() => bench.remove());

function contents(file: string): unknown[] {
  const db = new Database(file, { readonly: true });
  try {
    return VOUCHED_FOR.map((sql) => db.prepare(sql).all());
  } finally {
    db.close();
  }
}

test(`a bit anywhere (seed ${seed})`, () => {
  const random = seeded(seed);
  const whole = readFileSync(bench.good);
  const before = contents(bench.good);
  const file = join(bench.folder, 'flipped.db');
  let found = 0;
  for (let n = 0; n < FLIPS; n += 1) {
    const bytes = Buffer.from(whole);
    const at = Math.floor(random() * bytes.length);
    const bit = Math.floor(random() * 8);
    bytes[at] = (bytes[at] as number) ^ (1 << bit);
    writeFileSync(file, bytes);
    const { finding } = verify(file, [bench.second]);
    if (finding !== null) found += 1;
    // Nothing said: then all that is vouched for is there as it was.
    else expect({ at, bit, contents: contents(file) }).toEqual({ at, bit, contents: before });
  }
  expect(found).toBeGreaterThan(FLIPS / 4);
});
