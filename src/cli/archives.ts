/** What the ledger tells of archives. */
import type Database from 'better-sqlite3';
import { type Archived, RETENTION, readArchived } from '../audit/archived.ts';

export interface ToldArchive extends Archived {
  /** Place of the entry that tells of it. */
  readonly logIndex: number;
}

/** The oldest first. */
export const archivesIn = (db: Database.Database): readonly ToldArchive[] =>
  db
    .prepare<[], { readonly logIndex: number; readonly body: string }>(
      `SELECT log_index AS logIndex, body FROM ledger JOIN payload USING (log_index)
       WHERE stream = '${RETENTION}' ORDER BY seq`,
    )
    .all()
    .map(({ logIndex, body }) => ({ logIndex, ...readArchived(body) }));
