/** Accesses: streams of the ledger like any other, but of no drain and with nothing issued. */
import type Database from 'better-sqlite3';
import { accessStream } from '../../audit/access.ts';
import type { Client } from '../../audit/chain.ts';
import type { Reference } from '../../domain/vocabulary/entry.ts';
import type { OwnEntry, WrittenEntry } from './own-entries.ts';

/** Writes one, inside the transaction of its group. */
export const createAccessWriter =
  (append: (entry: OwnEntry) => WrittenEntry) =>
  (actor: Client, body: string): void => {
    append({ stream: (recordedAt) => accessStream(actor, recordedAt), type: 'access', actor, body });
  };

/** Reads whom a drain is linked to: now, or as of a place in the log, what stands there included. */
export function createPatientReader(
  db: Database.Database,
): (drain: string, logIndex?: number) => Reference | null {
  const newest = db
    .prepare<[string, number], string | null>(
      'SELECT patient FROM drain_patient WHERE drain = ? AND log_index <= ? ORDER BY log_index DESC LIMIT 1',
    )
    .pluck();
  return (drain, logIndex = Number.MAX_SAFE_INTEGER) =>
    JSON.parse(newest.get(drain, logIndex) ?? 'null') as Reference | null;
}
