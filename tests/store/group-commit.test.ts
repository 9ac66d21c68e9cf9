/**
 * Who shares a transaction. A job asks a second connection how many rows are committed: what its own group has written
 * does not show there (SQLite, 'Isolation In SQLite': changes are invisible to others until COMMIT).
 */
import Database from 'better-sqlite3';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { createGroupCommit, type GroupCommit } from '../../src/store/sqlite/group-commit.ts';
import { openWriter } from '../../src/store/sqlite/open.ts';
import { temporaryFile } from './ledger.ts';

const MOST_IN_GROUP = 4;

let place: ReturnType<typeof temporaryFile>;
let db: Database.Database;
let other: Database.Database;
let group: GroupCommit;
let now = 0;
beforeEach(() => {
  place = temporaryFile();
  db = openWriter(place.file);
  db.exec('CREATE TABLE written (n INTEGER) STRICT');
  other = new Database(place.file);
  group = createGroupCommit(db, {
    mostInGroup: MOST_IN_GROUP,
    longestMs: 10,
    clock: () => now,
    mostQueued: 100,
    onCommit() {},
    beforeCommit() {},
    onSettled() {},
    onRollback() {},
    onFatal(error) {
      throw error;
    },
  });
});
afterEach(async () => {
  await group.close();
  other.close();
  db.close();
  place.remove();
});

/** Writes a row; gives the number of rows that were committed before. */
const write = (): Promise<number> =>
  group.submit(() => {
    db.prepare('INSERT INTO written VALUES (1)').run();
    return other.prepare<[], number>('SELECT count(*) FROM written').pluck().get() ?? -1;
  });
const nextTurn = () => new Promise<void>((resolve) => setImmediate(resolve));

describe('a group', () => {
  it('takes whoever still comes while each turn brings somebody', async () => {
    const first = [write(), write()];
    await nextTurn();
    const later = write();
    expect(await Promise.all([...first, later])).toEqual([0, 0, 0]);
  });

  it('does not keep a lone job waiting for company', async () => {
    const lone = write();
    await nextTurn();
    const later = write();
    expect(await Promise.all([lone, later])).toEqual([0, 1]);
  });

  it('is closed when it is full, and the rest is the next one', async () => {
    const all = await Promise.all(Array.from({ length: 2 * MOST_IN_GROUP + 1 }, write));
    expect(all).toEqual([0, 0, 0, 0, 4, 4, 4, 4, 8]);
  });

  it('is closed when it has run for long, and the rest is the next one', async () => {
    const slow = (ms: number) => {
      const written = write();
      group.submit(() => {
        now += ms;
      });
      return written;
    };
    expect(await Promise.all([slow(6), slow(6), slow(30), slow(1)])).toEqual([0, 0, 2, 3]);
  });

  it('of which one fails is run again one by one, however long each takes', async () => {
    const long = () =>
      group.submit(() => {
        now += 20;
        return 'long';
      });
    const bad = group.submit(() => {
      throw new Error('bad');
    });
    const all = [bad, long(), bad.catch(() => 'told'), long()];
    expect((await Promise.allSettled(all)).map(({ status }) => status)).toEqual([
      'rejected',
      'fulfilled',
      'fulfilled',
      'fulfilled',
    ]);
  });
});
