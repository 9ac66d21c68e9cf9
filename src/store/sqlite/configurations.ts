/** Versions of the configuration: a stream of the ledger like any other, but of no drain and with nothing issued. */
import type Database from 'better-sqlite3';
import type { Configured, StoredConfiguration } from '../port.ts';
import { recordedAtOf } from './log-end.ts';
import type { OwnEntry, WrittenEntry } from './own-entries.ts';

const STREAM = 'configuration';

interface Row {
  readonly seq: number;
  readonly envelope: string;
  readonly hash: string;
  readonly body: string;
}

const VERSIONS = `SELECT seq, envelope, hash, body FROM ledger JOIN payload USING (log_index)
  WHERE stream = '${STREAM}' ORDER BY seq`;

/** Reads all versions, oldest first. */
export function createConfigurationReader(db: Database.Database): () => StoredConfiguration[] {
  const versions = db.prepare<[], Row>(VERSIONS);
  return () => versions.all().map(toVersion);
}

/** Writes a version unless the newest one says the same to the letter, inside the transaction of its group. */
export function createConfigurationWriter(
  db: Database.Database,
  append: (entry: OwnEntry) => WrittenEntry,
): (body: string) => Configured {
  const newest = db.prepare<[], Row>(`${VERSIONS} DESC LIMIT 1`);
  return (body) => {
    const before = newest.get();
    if (before?.body === body) return { version: toVersion(before), isNew: false };
    const { seq, recordedAt, hash } = append({
      stream: STREAM,
      type: STREAM,
      actor: { type: 'service' },
      body,
    });
    return { version: { seq, recordedAt, hash, body }, isNew: true };
  };
}

const toVersion = ({ seq, envelope, hash, body }: Row): StoredConfiguration => ({
  seq,
  recordedAt: recordedAtOf(envelope),
  hash,
  body,
});
