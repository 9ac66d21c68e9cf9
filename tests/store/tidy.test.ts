/**
 * When what was committed leaves the write-ahead log. A second connection says how long the log is and how much of it is
 * in the database (SQLite, 'PRAGMA wal_checkpoint': NOOP answers both and moves nothing).
 */
import { dirname, join } from 'node:path';
import { setImmediate as nextTurn } from 'node:timers/promises';
import Database from 'better-sqlite3';
import { afterEach, beforeEach, describe, expect, it, test } from 'vitest';
import { openWriter } from '../../src/store/sqlite/open.ts';
import { createTidier } from '../../src/store/sqlite/tidy.ts';
import { dec, type Told } from '../support/drain-script.ts';
import { minute } from '../support/ledgers.ts';
import { incoming, openLedger, temporaryFile } from './ledger.ts';

let place: ReturnType<typeof temporaryFile>;
let db: Database.Database;
let other: Database.Database;
let tidy: () => void;
beforeEach(() => {
  place = temporaryFile();
  db = openWriter(place.file);
  db.exec('CREATE TABLE written (text TEXT NOT NULL) STRICT');
  db.pragma('wal_checkpoint(TRUNCATE)');
  other = new Database(place.file);
  tidy = createTidier(db, (error) => {
    throw error;
  });
});
afterEach(() => {
  other.close();
  db.close();
  place.remove();
});

/** A row that fills about so many pages of 4 KiB. */
function write(pages: number): void {
  db.prepare('INSERT INTO written VALUES (?)').run('x'.repeat(pages * 4096));
}

const log = () => logOf(other);

function logOf(db: Database.Database): { readonly pages: number; readonly moved: number } {
  const { log: pages, checkpointed: moved } = db
    .prepare<[], { readonly log: number; readonly checkpointed: number }>('PRAGMA wal_checkpoint(NOOP)')
    .get() ?? { log: -1, checkpointed: -1 };
  return { pages, moved };
}

describe('the write-ahead log', () => {
  it('stays as it is while it is short', () => {
    write(400);
    tidy();
    expect(log().pages).toBeGreaterThan(399);
    expect(log().moved).toBe(0);
  });

  it('is moved into the database once it is longer, so that it begins anew', () => {
    write(300);
    write(300);
    tidy();
    expect(log().moved).toBe(log().pages);
    write(1);
    expect(log().pages).toBeLessThan(10);
  });

  it('is moved again and again, however often it begins anew', () => {
    for (let n = 0; n < 4; n += 1) {
      write(510);
      tidy();
      expect(log().moved).toBe(log().pages);
    }
  });

  it('is moved by a commit where nobody leaves time to tidy, before that takes long', () => {
    for (let n = 0; n < 3; n += 1) write(400);
    expect(log().moved).toBeGreaterThan(999);
  });

  it('keeps what somebody still reads an older state of, and is not tried again for that alone', () => {
    const reader = new Database(place.file);
    reader.exec('BEGIN');
    reader.prepare('SELECT count(*) FROM written').get();
    write(600);
    tidy();
    expect(log().moved).toBe(0);
    reader.close();
    tidy();
    expect(log().moved).toBe(0);
    write(600);
    tidy();
    expect(log().moved).toBe(log().pages);
  });
});

test('of a ledger, the log is moved while nobody charts', async () => {
  const ledger = openLedger(join(dirname(place.file), 'charted.db'));
  const opened = new Database(ledger.file);
  try {
    const placement: Told = {
      key: 'placed',
      time: minute(0),
      says: { kind: 'placed', site: 'pleural-left', tubes: ['A'], population: 'adult' },
    };
    await ledger.record([incoming(placement, placement)]);
    const readings = Array.from(
      { length: 60 },
      (_, n): Told => ({
        key: `r${n}`,
        time: minute(n + 1),
        says: { kind: 'reading', level_ml: dec(n) },
      }),
    );
    for (const told of readings) await ledger.record([incoming(told, placement)]);
    await nextTurn();
    await nextTurn();
    const { pages, moved } = logOf(opened);
    expect(pages).toBeGreaterThan(500);
    expect(moved).toBeGreaterThan(500);
  } finally {
    opened.close();
    await ledger.close();
  }
});
