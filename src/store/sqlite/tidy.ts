/**
 * Moves what was committed out of the write-ahead log while nobody waits, a little at a time. Left to the commit that
 * fills the log, it is a stall of some 15 ms for whoever waits for that commit, and for whoever reads meanwhile.
 */
import type Database from 'better-sqlite3';
import { asFailure, isFatal } from './group.ts';

/** So many pages, 2 MB, take some 4 ms. */
const LEAST_PAGES = 500;

/** Pages in the log, and how many of them are in the database too. */
interface Log {
  readonly log: number;
  readonly checkpointed: number;
}

const EMPTY: Log = { log: 0, checkpointed: 0 };

/**
 * Does nothing while the log is short.
 * @param onFatal told when the file can no longer be trusted
 */
export function createTidier(db: Database.Database, onFatal: (error: Error) => void): () => void {
  const look = db.prepare<[], Log>('PRAGMA wal_checkpoint(NOOP)');
  const waiting = (): number => {
    const { log, checkpointed } = look.get() ?? EMPTY;
    return log - checkpointed;
  };
  // Pages that somebody still reads an older state of stay in the log: those are not tried for again and again.
  let kept = 0;
  return () => {
    const pages = waiting();
    kept = Math.min(kept, pages);
    if (pages - kept < LEAST_PAGES) return;
    try {
      db.pragma('wal_checkpoint(PASSIVE)');
      kept = waiting();
    } catch (error) {
      // Where there is no room, nothing is lost: it stays in the log, and the commit that finds none says so.
      if (isFatal(error)) onFatal(asFailure(error));
    }
  };
}
