/** The tree over the ledger: in step with every group, proofs at any size, filled for ledgers from before it. */
import { cpSync, mkdirSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import type Database from 'better-sqlite3';
import { describe, expect, it } from 'vitest';
import { Frontier, isBeginning, isIncluded, leafOf, nodeOf } from '../../src/audit/merkle.ts';
import { StoreFailed } from '../../src/store/port.ts';
import { migrate } from '../../src/store/sqlite/migrate.ts';
import { openWriter } from '../../src/store/sqlite/open.ts';
import { createTree, createTreeReader } from '../../src/store/sqlite/tree.ts';
import { level, placed, setUp } from '../support/drain-script.ts';
import { incoming, ledgerForEach } from './ledger.ts';

const MIGRATIONS = fileURLToPath(new URL('../../migrations', import.meta.url));
const PLACED = placed('08:00', { patient: { reference: 'Patient/p' } });
const STORY = [PLACED, setUp('08:00', 0), level('a', '09:00', 60), level('b', '10:00', 130)];

const ledger = ledgerForEach();

const tell = async (story = STORY): Promise<void> => {
  for (const told of story) await ledger.record([incoming(told, PLACED)]);
};
const hashes = (db: Database.Database): string[] =>
  db.prepare<[], string>('SELECT hash FROM ledger ORDER BY log_index').pluck().all();

/** RFC 9162, 2.1.1, word by word. */
function rootOf(leaves: readonly Buffer[]): Buffer {
  const [first] = leaves;
  if (first === undefined) throw new Error('no leaves');
  if (leaves.length === 1) return first;
  const k = 2 ** Math.floor(Math.log2(leaves.length - 1));
  return nodeOf(rootOf(leaves.slice(0, k)), rootOf(leaves.slice(k)));
}

/** A ledger of so many rows that say nothing, which the tree does not mind. */
function longLedger(rows: number): Database.Database {
  const db = openWriter(join(dirname(ledger.file), 'long.db'));
  migrate(db, MIGRATIONS);
  const insert = db.prepare(
    "INSERT INTO ledger (log_index, stream, seq, envelope, hash) VALUES (?, 'x', ?, '', ?)",
  );
  db.transaction(() => {
    for (let i = 0; i < rows; i += 1) insert.run(i, i, i.toString(16).padStart(64, '0'));
  })();
  return db;
}

describe('the tree', () => {
  it('has the root of all entries after every write, of the service itself as well', async () => {
    await ledger.store.configure('{"a":1}');
    await tell();
    await ledger.store.notice({ type: 'restored', actor: { type: 'service' }, body: '{}' });
    const leaves = hashes(ledger.db).map(leafOf);
    expect(leaves).toHaveLength(6);
    expect(ledger.store.log.size()).toBe(6);
    for (let size = 1; size <= 6; size += 1)
      expect(ledger.store.log.rootAt(size)).toEqual(rootOf(leaves.slice(0, size)));
  });

  it('is as it was after a group that failed, and goes on', async () => {
    await tell(STORY.slice(0, 2));
    const before = ledger.store.log.rootAt(2);
    ledger.db.exec(
      `CREATE TRIGGER obstacle BEFORE INSERT ON tree BEGIN SELECT RAISE(ABORT, 'in the way'); END`,
    );
    await expect(tell(STORY.slice(2, 3))).rejects.toThrow(StoreFailed);
    expect(hashes(ledger.db)).toHaveLength(2);
    ledger.db.exec('DROP TRIGGER obstacle');
    await tell(STORY.slice(2));
    expect(ledger.store.log.rootAt(2)).toEqual(before);
    expect(ledger.store.log.rootAt(4)).toEqual(rootOf(hashes(ledger.db).map(leafOf)));
    const kept = ledger.db.prepare<[], { size: number; frontier: Buffer }>('SELECT * FROM tree').get();
    expect(kept && Frontier.of(kept.size, kept.frontier).root()).toEqual(ledger.store.log.rootAt(4));
  });

  it('says when it has grown, and only then', async () => {
    const told: number[] = [];
    ledger.store.log.watch((size) => told.push(size));
    await tell();
    await tell();
    await ledger.store.rebaseWaits('ehr', 1000, 2000);
    expect(told).toEqual([1, 2, 3, 4]);
    await ledger.store.claim('ehr', 1000, 2000, 9, []);
    expect(told).toEqual([1, 2, 3, 4, 5]);
  });

  it('goes on where it was when the ledger is opened again', async () => {
    await tell(STORY.slice(0, 3));
    await ledger.reopen();
    await tell(STORY.slice(3));
    expect(ledger.store.log.rootAt(4)).toEqual(rootOf(hashes(ledger.db).map(leafOf)));
  });

  it('is filled again at the next start when it was emptied', async () => {
    await tell();
    const before = ledger.store.log.rootAt(4);
    ledger.db.exec('DELETE FROM tree; DELETE FROM tile');
    await ledger.reopen();
    expect(ledger.store.log.rootAt(4)).toEqual(before);
  });

  it('is made for a ledger of the first schema when it is opened', async () => {
    const old = join(dirname(ledger.file), 'first');
    mkdirSync(old);
    cpSync(join(MIGRATIONS, '0001-ledger.sql'), join(old, '0001-ledger.sql'));
    const db = openWriter(join(dirname(ledger.file), 'old.db'));
    migrate(db, old);
    db.prepare("INSERT INTO ledger VALUES (0, 'x', 1, '', ?)").run('ab'.repeat(32));
    db.close();
    await ledger.reopen({ file: join(dirname(ledger.file), 'old.db') });
    expect(ledger.store.log.size()).toBe(1);
    expect(ledger.store.log.rootAt(1)).toEqual(leafOf('ab'.repeat(32)));
  });

  it('refuses a ledger with a gap', async () => {
    const db = longLedger(3);
    db.exec('DROP TRIGGER ledger_keeps_rows; DELETE FROM ledger WHERE log_index = 1');
    expect(() => createTree(db).grow()).toThrow('the ledger has no entry 1');
    db.close();
  });
});

describe('over 70,000 entries', () => {
  it('keeps the roots of complete subtrees, and proves from them at any size', { timeout: 60_000 }, () => {
    const db = longLedger(70_000);
    createTree(db).grow();
    const leaves = hashes(db).map(leafOf);
    const tiles = db.prepare('SELECT height, count(*) AS n FROM tile GROUP BY height ORDER BY height').all();
    expect(tiles).toEqual([
      { height: 8, n: 273 },
      { height: 16, n: 1 },
    ]);
    const reads = createTreeReader(db);
    for (const size of [1, 255, 256, 257, 65_535, 65_536, 65_537, 70_000]) {
      const root = reads.rootAt(size);
      expect(root).toEqual(rootOf(leaves.slice(0, size)));
      for (const index of [0, size >> 1, size - 1]) {
        const leaf = leaves[index] as Buffer;
        expect(isIncluded(leaf, index, size, reads.inclusion(index, size), root)).toBe(true);
      }
      const [older, newer] = [
        { size, root },
        { size: 70_000, root: reads.rootAt(70_000) },
      ];
      expect(isBeginning(older, newer, reads.consistency(size, 70_000))).toBe(true);
    }
    expect(() => reads.inclusion(0, 70_001)).toThrow(RangeError);
    expect(() => reads.rootAt(70_001)).toThrow('the log has 70000 entries, not 70001');
    db.close();
  });
});

describe('a checkpoint', () => {
  it('speaks of what is durable with it, once a size, and is kept for ever', async () => {
    await tell(STORY.slice(0, 2));
    const heads: number[] = [];
    const sign = ({ size }: { size: number }) => `signed ${heads.push(size)}`;
    expect(await ledger.store.checkpoint(sign)).toBe('signed 1');
    expect(await ledger.store.checkpoint(sign)).toBeNull();
    const [, note] = await Promise.all([
      ledger.record([incoming(STORY[2] as (typeof STORY)[0], PLACED)]),
      ledger.store.checkpoint(sign),
    ]);
    expect(note).toBe('signed 2');
    expect(heads).toEqual([2, 3]);
    expect(ledger.store.log.newestCheckpoint()).toBe('signed 2');
    expect(() => ledger.db.exec('DELETE FROM checkpoint')).toThrow('append-only');
    expect(() => ledger.db.exec("UPDATE checkpoint SET note = ''")).toThrow('append-only');
  });
});
