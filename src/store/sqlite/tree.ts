/** The tree over all entries, in the database: grown with each group that is committed, and read for proofs. */
import type Database from 'better-sqlite3';
import {
  consistencyProof,
  Frontier,
  type Hash,
  type Head,
  inclusionProof,
  leafOf,
  type ReadSubtree,
  rootOf,
} from '../../audit/merkle.ts';
import type { LogTree } from '../log-port.ts';

/** A subtree of 2^8 leaves is kept by its root, one of 2^8 of those too, and so on. */
const TILE_HEIGHT = 8;
/** Of the ledger, read at once: a ledger from before there was a tree is long. */
const PAGE = 4096;

export interface Tree {
  /** Takes in what the ledger has more than the tree; inside the transaction that wrote it. */
  grow(): void;
  /** As of the last {@link grow}, as what follows. */
  size(): number;
  head(): Head;
  /** Forgets what is kept in memory, after a rollback. */
  forget(): void;
}

interface Row {
  readonly log_index: number;
  readonly hash: string;
}

export function createTree(db: Database.Database): Tree {
  const kept = db.prepare<[], { size: number; frontier: Buffer }>('SELECT size, frontier FROM tree');
  const newer = db.prepare<[number, number], Row>(
    'SELECT log_index, hash FROM ledger WHERE log_index >= ? ORDER BY log_index LIMIT ?',
  );
  const keep = db.prepare('INSERT OR REPLACE INTO tree (one, size, frontier) VALUES (1, ?, ?)');
  const keepTile = db.prepare('INSERT OR REPLACE INTO tile (height, place, root) VALUES (?, ?, ?)');
  let frontier: Frontier | null = null;

  function current(): Frontier {
    if (frontier !== null) return frontier;
    const row = kept.get();
    frontier = row === undefined ? new Frontier() : Frontier.of(row.size, row.frontier);
    return frontier;
  }

  function onComplete(height: number, place: number, root: Hash): void {
    if (height % TILE_HEIGHT === 0) keepTile.run(height, place, root);
  }

  function takeIn(tree: Frontier, rows: readonly Row[]): void {
    for (const { log_index, hash } of rows) {
      if (log_index !== tree.size)
        throw new Error(`the ledger has no entry ${tree.size}; run verify on this database`);
      tree.add(leafOf(hash), onComplete);
    }
    keep.run(tree.size, tree.bytes());
  }

  return {
    grow() {
      const tree = current();
      for (let rows = newer.all(tree.size, PAGE); rows.length > 0; rows = newer.all(tree.size, PAGE)) {
        takeIn(tree, rows);
        if (rows.length < PAGE) return;
      }
    },
    size: () => current().size,
    head() {
      const tree = current();
      return { size: tree.size, root: tree.root() };
    },
    forget() {
      frontier = null;
    },
  };
}

/** Roots of complete subtrees, from entries and tiles: at most 256 of either for one. */
export function createSubtreeReader(db: Database.Database): ReadSubtree {
  const hashes = db
    .prepare<[number, number], string>(
      'SELECT hash FROM ledger WHERE log_index >= ? AND log_index < ? ORDER BY log_index',
    )
    .pluck();
  const tiles = db
    .prepare<[number, number, number], Hash>(
      'SELECT root FROM tile WHERE height = ? AND place >= ? AND place < ? ORDER BY place',
    )
    .pluck();
  return (height, place) => {
    const above = height % TILE_HEIGHT;
    const [from, to] = [place * 2 ** above, (place + 1) * 2 ** above];
    const parts =
      height < TILE_HEIGHT ? hashes.all(from, to).map(leafOf) : tiles.all(height - above, from, to);
    if (parts.length !== to - from)
      throw new Error(`the tree lacks parts at height ${height}; run verify on this database`);
    const whole = new Frontier();
    for (const part of parts) whole.add(part);
    return whole.root();
  };
}

type TreeReads = Pick<LogTree, 'size' | 'rootAt' | 'inclusion' | 'consistency'>;

/** Entries and tiles only ever come to be, so reads need no snapshot. */
export function createTreeReader(db: Database.Database): TreeReads {
  const size = db.prepare<[], number>('SELECT size FROM tree').pluck();
  const subtree = createSubtreeReader(db);
  const sizeNow = (): number => size.get() ?? 0;
  const within = (wanted: number): number => {
    if (wanted > sizeNow()) throw new RangeError(`the log has ${sizeNow()} entries, not ${wanted}`);
    return wanted;
  };
  return {
    size: sizeNow,
    rootAt: (at) => rootOf(subtree, within(at)),
    inclusion: (index, at) => inclusionProof(subtree, index, within(at)),
    consistency: (from, to) => consistencyProof(subtree, from, within(to)),
  };
}
