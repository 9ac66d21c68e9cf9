/** Whether the newest entries are what they were: the end of a file is what a crash or a bad disk damages first. */
import type Database from 'better-sqlite3';
import { createLogCheck, type LogRow } from '../../audit/log-check.ts';

interface IssuedRow {
  readonly log_index: number;
  readonly resources: string;
}

/** Recomputes them from their rows. Gives what is wrong first, in words, or null. */
export function createNewestCheck(db: Database.Database): (count: number) => string | null {
  const newest = db.prepare<[], number | null>('SELECT max(log_index) FROM ledger').pluck();
  const rows = db.prepare<[number], Omit<LogRow, 'issued'>>(
    `SELECT log_index, stream, seq, envelope, hash, salt, body FROM ledger LEFT JOIN payload USING (log_index)
     WHERE log_index >= ? ORDER BY log_index`,
  );
  // Rows come to be in the order of the log.
  const issued = db.prepare<[], IssuedRow>('SELECT log_index, resources FROM issued ORDER BY rowid DESC');
  const hash = db
    .prepare<[string, number], string>('SELECT hash FROM ledger WHERE stream = ? AND seq = ?')
    .pluck();

  function textsSince(index: number): ReadonlyMap<number, readonly string[]> {
    const texts = new Map<number, string[]>();
    for (const { log_index, resources } of issued.iterate()) {
      if (log_index < index) break;
      texts.set(log_index, [resources, ...(texts.get(log_index) ?? [])]);
    }
    return texts;
  }

  return (count) => {
    const index = Math.max(0, (newest.get() ?? -1) + 1 - count);
    const texts = textsSince(index);
    const check = createLogCheck({ index, hashAt: (stream, seq) => hash.get(stream, seq) });
    for (const row of rows.iterate(index)) {
      const said = check.take({ ...row, issued: texts.get(row.log_index) ?? [] });
      if ('kind' in said) return `${said.where}: ${said.what}`;
    }
    return null;
  };
}
