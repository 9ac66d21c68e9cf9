/** The stored rows of a ledger, in the order of the log. */
import type Database from 'better-sqlite3';
import type { LogRow } from '../../audit/log-check.ts';

interface IssuedRow {
  readonly log_index: number;
  readonly resources: string;
}

export class StrayRow extends Error {
  readonly logIndex: number;
  constructor(logIndex: number) {
    super(`stray texts of entry ${logIndex}`);
    this.logIndex = logIndex;
  }
}

/**
 * Walks the ledger with what belongs to each entry.
 * @param from the first entry that is wanted
 * @throws {StrayRow} at the end, where texts belong to no entry
 */
export function* ledgerRows(db: Database.Database, from = 0): Generator<LogRow, void> {
  const entries = db
    .prepare<[number], Omit<LogRow, 'issued'>>(
      `SELECT log_index, stream, seq, envelope, hash, salt, body FROM ledger LEFT JOIN payload USING (log_index)
       WHERE log_index >= ? ORDER BY log_index`,
    )
    .iterate(from);
  // Rows come to be in the order of the log, so that both are walked side by side.
  const issues = db
    .prepare<[number | bigint], IssuedRow>(
      'SELECT log_index, resources FROM issued WHERE rowid >= ? ORDER BY rowid',
    )
    .iterate(firstIssueFrom(db, from));
  try {
    let next = issues.next();
    for (const entry of entries) {
      const issued: string[] = [];
      for (; !next.done && next.value.log_index === entry.log_index; next = issues.next())
        issued.push(next.value.resources);
      yield { ...entry, issued };
    }
    if (next.done !== true) throw new StrayRow(next.value.log_index);
  } finally {
    issues.return?.();
  }
}

/** Of any row: those that the service writes count from 1, and others may have put less. */
const LOWEST = -(2n ** 63n);

/** From which rowid on. No index leads from entries to it, and the end of the table is near. */
function firstIssueFrom(db: Database.Database, from: number): number | bigint {
  if (from === 0) return LOWEST;
  const issues = db.prepare<[], { readonly rowid: number; readonly log_index: number }>(
    'SELECT rowid, log_index FROM issued ORDER BY rowid DESC',
  );
  for (const { rowid, log_index } of issues.iterate()) if (log_index < from) return rowid + 1;
  return LOWEST;
}
