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
/** Rows that were committed whenever there was nothing left to do. */
let idle: number[] = [];
beforeEach(() => {
  place = temporaryFile();
  idle = [];
  db = openWriter(place.file);
  db.exec('CREATE TABLE written (n INTEGER) STRICT');
  other = new Database(place.file);
  group = createGroupCommit(db, {
    mostInGroup: MOST_IN_GROUP,
    longestMs: 10,
    longestTurnMs: 3,
    clock: () => now,
    mostQueued: 100,
    onCommit() {},
    beforeCommit() {},
    onSettled() {},
    onIdle: () => idle.push(committed()),
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
const write = (): Promise<number> => group.submit(writeNow);
const writeNow = (): number => {
  db.prepare('INSERT INTO written VALUES (1)').run();
  return committed();
};
const nextTurn = () => new Promise<void>((resolve) => setImmediate(resolve));

/** Writes a row, which takes so long by the clock. */
const slowly = (ms: number): Promise<number> =>
  group.submit(() => {
    now += ms;
    return writeNow();
  });
const committed = (): number => other.prepare<[], number>('SELECT count(*) FROM written').pluck().get() ?? -1;

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

  it('lets the event loop turn when it has worked for a while, and goes on in the same transaction', async () => {
    const all = [slowly(5), slowly(5), slowly(1)];
    const seen: string[] = [];
    for (let n = 0; n < 3; n += 1) {
      await nextTurn();
      seen.push(`${db.inTransaction ? 'under way' : 'over'}, ${committed()} committed`);
    }
    expect(seen).toEqual(['under way, 0 committed', 'over, 2 committed', 'over, 3 committed']);
    expect(await Promise.all(all)).toEqual([0, 0, 2]);
  });

  it('is ended by whoever has to read what is durable, and the rest is the next one', async () => {
    const all = [slowly(5), slowly(1), slowly(1)];
    await nextTurn();
    expect(committed()).toBe(0);
    group.settle();
    expect(committed()).toBe(1);
    expect(await all[0]).toBe(0);
    expect(await Promise.all(all)).toEqual([0, 1, 1]);
    group.settle();
    expect(committed()).toBe(3);
  });

  it('is not ended by a job of its own that reads', async () => {
    const before = write();
    const looking = group.submit(() => {
      group.settle();
      return writeNow();
    });
    expect(await Promise.all([before, looking, write()])).toEqual([0, 0, 0]);
  });

  it('takes what a reader waits for before all that is queued, and ends with that turn', async () => {
    const all = [slowly(3), slowly(3), slowly(3)];
    await nextTurn();
    const access = group.submitFirst(writeNow);
    const order: string[] = [];
    all.forEach((each, n) => void each.then(() => order.push(`${n}`)));
    void access.then(() => order.push('access'));
    expect(await access).toBe(0);
    expect(await Promise.all(all)).toEqual([0, 0, 3]);
    expect(order).toEqual(['0', 'access', '1', '2']);
  });

  it('takes all that readers wait for in one turn', async () => {
    const accesses = [0, 1, 2].map(() =>
      group.submitFirst(() => {
        now += 3;
        return writeNow();
      }),
    );
    await nextTurn();
    expect(committed()).toBe(3);
    expect(await Promise.all(accesses)).toEqual([0, 0, 0]);
  });

  it('of which one fails in a later turn is run again, and each of it is written once', async () => {
    const good = [slowly(5), slowly(2)];
    const bad = group.submit(() => {
      writeNow();
      throw new Error('bad');
    });
    await nextTurn();
    expect(db.inTransaction).toBe(true);
    await expect(bad).rejects.toThrow('bad');
    await Promise.all(good);
    expect(committed()).toBe(2);
  });

  it.each([
    ['and others wait', [5, 5, 5]],
    ['and nobody waits', [1, 1]],
  ])('that is under way when the store closes is finished before, %s', async (_, times) => {
    const all = times.map(slowly);
    await nextTurn();
    expect(db.inTransaction).toBe(true);
    await group.close();
    expect(committed()).toBe(times.length);
    await Promise.all(all);
    await expect(write()).rejects.toThrow('closing');
  });
});

describe('with nothing left to do', () => {
  it('says so once all that came was told, and not between groups', async () => {
    const all = Array.from({ length: 2 * MOST_IN_GROUP + 1 }, write);
    void all[0]?.then(() => idle.push(-1));
    await Promise.all(all);
    expect(idle).toEqual([-1]);
    await nextTurn();
    expect(idle).toEqual([-1, 2 * MOST_IN_GROUP + 1]);
    await nextTurn();
    expect(idle).toHaveLength(2);
  });

  it('says nothing where somebody came meanwhile, or the store closes', async () => {
    await write();
    const later = write();
    await nextTurn();
    expect(idle).toEqual([]);
    await later;
    await group.close();
    await nextTurn();
    expect(idle).toEqual([]);
  });
});

describe('what nobody waits for', () => {
  it('makes way for all that is queued, and shares a group of its own', async () => {
    const all = [group.defer(writeNow), write(), group.defer(writeNow), write()];
    expect(await Promise.all(all)).toEqual([2, 0, 2, 0]);
  });

  it('goes no further where somebody came while the event loop had its turn', async () => {
    const slowly = () =>
      group.defer(() => {
        now += 5;
        return writeNow();
      });
    const deferred = [slowly(), slowly()];
    await nextTurn();
    expect(await Promise.all([...deferred, write()])).toEqual([0, 2, 1]);
  });

  it('keeps its order', async () => {
    const order: number[] = [];
    await Promise.all([1, 2, 3, 4, 5, 6].map((n) => group.defer(() => order.push(n))));
    expect(order).toEqual([1, 2, 3, 4, 5, 6]);
  });

  it.each([1, 3])('gets its turn after four groups of what %i at once go on asking for', async (atOnce) => {
    let isOver = false;
    const goOn = async (): Promise<void> => {
      while (!isOver) await write();
    };
    const going = Array.from({ length: atOnce }, goOn);
    const deferred = [group.defer(writeNow), group.defer(writeNow)];
    expect(await Promise.all(deferred)).toEqual([4 * atOnce, 4 * atOnce]);
    isOver = true;
    await Promise.all(going);
  });

  it('is settled before all is closed, and nothing of it is taken after', async () => {
    const order: string[] = [];
    const deferred = group.defer(writeNow).then(() => order.push('settled'));
    await Promise.all([group.close().then(() => order.push('closed')), deferred]);
    expect(order).toEqual(['settled', 'closed']);
    await expect(group.defer(writeNow)).rejects.toThrow('closing');
  });
});
