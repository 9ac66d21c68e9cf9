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

/** Walks the ledger with what belongs to each entry. @throws {StrayRow} at the end, where texts belong to no entry */
export function* ledgerRows(db: Database.Database): Generator<LogRow, void> {
  const entries = db
    .prepare<[], Omit<LogRow, 'issued'>>(
      `SELECT log_index, stream, seq, envelope, hash, salt, body FROM ledger LEFT JOIN payload USING (log_index)
       ORDER BY log_index`,
    )
    .iterate();
  // Rows come to be in the order of the log, so that both are walked side by side.
  const issues = db
    .prepare<[], IssuedRow>('SELECT log_index, resources FROM issued ORDER BY rowid')
    .iterate();
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
