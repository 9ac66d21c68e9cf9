import type Database from 'better-sqlite3';

/** Where the log ends. */
export interface LogEnd {
  /** Of the newest entry; -1 before the first. */
  readonly index: number;
  /** When that was recorded, ms since the epoch; 0 before the first. */
  readonly recordedMs: number;
}

/** Reads it from the ledger: nothing may be recorded before it, though the clock may have stepped back since. */
export function createLogEnd(db: Database.Database): () => LogEnd {
  const newest = db.prepare<[], { readonly log_index: number; readonly envelope: string }>(
    'SELECT log_index, envelope FROM ledger ORDER BY log_index DESC LIMIT 1',
  );
  return () => {
    const row = newest.get();
    if (row === undefined) return { index: -1, recordedMs: 0 };
    return { index: row.log_index, recordedMs: Date.parse(recordedAtOf(row.envelope)) };
  };
}

/** Finds the first entry recorded at a time or after it, among the first `size`; times never fall along the ledger. */
export function createPlaceFinder(db: Database.Database): (ms: number, size: number) => number {
  const envelope = db.prepare<[number], string>('SELECT envelope FROM ledger WHERE log_index = ?').pluck();
  return (ms, size) => {
    let [low, high] = [0, size];
    while (low < high) {
      const middle = Math.floor((low + high) / 2);
      if (Date.parse(recordedAtOf(envelope.get(middle) ?? '{}')) < ms) low = middle + 1;
      else high = middle;
    }
    return low;
  };
}

export const recordedAtOf = (envelope: string): string =>
  (JSON.parse(envelope) as { readonly recorded_at: string }).recorded_at;
