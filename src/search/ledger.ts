/** What the index reads of the ledger, on a connection that can only read. */
import { createFrameReader, createTextReader } from '../store/sqlite/frames.ts';
import { openReader } from '../store/sqlite/open.ts';

/** One issue: the resource versions that one entry issued about one drain. */
export interface Issue {
  readonly row: number;
  readonly logIndex: number;
  /** Hash of the entry, which stands for all before it in its stream. */
  readonly hash: string;
  readonly texts: readonly string[];
}

export interface LedgerReader {
  issuesAfter(row: number, most: number): readonly Issue[];
  /** Number of issues. */
  head(): number;
  /** How one text of an issue is read: the issue itself is read once for all of them. */
  textsAt(row: number): (position: number) => string | undefined;
  /** Place and hash of an issue's entry. */
  entryOf(row: number): Pick<Issue, 'logIndex' | 'hash'> | undefined;
  close(): void;
}

interface Row {
  readonly row: number;
  readonly logIndex: number;
  readonly hash: string;
  readonly resources: string;
}

/** Rows of `issued` are only ever added, so their rowids count up from 1 in the order of the log. */
export function openLedgerReader(file: string): LedgerReader {
  const db = openReader(file);
  const after = db.prepare<[number, number], Row>(
    `SELECT i.rowid AS row, i.log_index AS logIndex, l.hash, i.resources
     FROM issued i CROSS JOIN ledger l ON l.log_index = i.log_index WHERE i.rowid > ? ORDER BY i.rowid LIMIT ?`,
  );
  const head = db.prepare<[], number | null>('SELECT max(rowid) FROM issued').pluck();
  const resources = db.prepare<[number], string>('SELECT resources FROM issued WHERE rowid = ?').pluck();
  const entry = db.prepare<[number], { logIndex: number; hash: string }>(
    'SELECT i.log_index AS logIndex, l.hash FROM issued i JOIN ledger l USING (log_index) WHERE i.rowid = ?',
  );
  const textsIn = createFrameReader(db);
  const textIn = createTextReader(db);
  return {
    issuesAfter: (row, most) =>
      after.all(row, most).map(({ resources: stored, ...rest }) => ({ ...rest, texts: textsIn(stored) })),
    head: () => head.get() ?? 0,
    textsAt: (row) => textIn(resources.get(row) ?? '[]'),
    entryOf: (row) => entry.get(row),
    close: () => db.close(),
  };
}
