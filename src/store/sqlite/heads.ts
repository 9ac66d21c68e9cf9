/** Where each stream of the ledger ends. */
import type Database from 'better-sqlite3';
import { genesis } from '../../audit/chain.ts';

/** Of the newest entry; before the first, 0 and the genesis of the stream. */
export interface Head {
  readonly seq: number;
  readonly hash: string;
}

export function createHeadReader(db: Database.Database, origin: string): (stream: string) => Head {
  const newest = db.prepare<[string], Head>(
    'SELECT seq, hash FROM ledger WHERE stream = ? ORDER BY seq DESC LIMIT 1',
  );
  return (stream) => newest.get(stream) ?? { seq: 0, hash: genesis(origin, stream) };
}

export interface Heads {
  of(stream: string): Head;
  /** What was just written. */
  moved(stream: string, head: Head): void;
  /** After a rollback. */
  forget(): void;
}

/** Beyond so many streams all are read again: some 2 MB. */
const MOST_KEPT = 10_000;

/** The same, kept in memory by whoever alone writes to these streams: to read it costs as much as to write a row. */
export function createHeads(db: Database.Database, origin: string): Heads {
  const read = createHeadReader(db, origin);
  const kept = new Map<string, Head>();
  return {
    of: (stream) => kept.get(stream) ?? read(stream),
    moved(stream, head) {
      if (kept.size >= MOST_KEPT) kept.clear();
      kept.set(stream, head);
    },
    forget: () => kept.clear(),
  };
}
