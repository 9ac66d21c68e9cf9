import type Database from 'better-sqlite3';
import type { Settled, StoredUnmapped, UnmappedMessage, UnmappedStore } from '../unmapped-port.ts';
import { recordedAtOf } from './log-end.ts';
import type { OwnEntry, WrittenEntry } from './own-entries.ts';

const STREAM = 'hl7v2';

interface Row {
  readonly seq: number;
  readonly message_hash: string;
  readonly envelope: string;
  readonly body: string;
}

/** Writes inside the transaction of its group. */
export function createUnmappedWriter(db: Database.Database, append: (entry: OwnEntry) => WrittenEntry) {
  const known = db
    .prepare<[string], number>(
      'SELECT seq FROM unmapped_message JOIN ledger USING (log_index) WHERE message_hash = ?',
    )
    .pluck();
  const keep = db.prepare('INSERT INTO unmapped_message (message_hash, log_index) VALUES (?, ?)');
  const waits = db.prepare('SELECT 1 FROM unmapped_message WHERE message_hash = ? AND settled_log IS NULL');
  const settle = db.prepare('UPDATE unmapped_message SET settled_log = ? WHERE message_hash = ?');
  return {
    keep({ hash, body }: UnmappedMessage): number {
      const before = known.get(hash);
      if (before !== undefined) return before;
      const { seq, logIndex } = append({
        stream: STREAM,
        type: 'unmapped',
        actor: { type: 'service' },
        body,
      });
      keep.run(hash, logIndex);
      return seq;
    },
    settle(hash: string, { type, actor, body }: Settled): boolean {
      if (waits.get(hash) === undefined) return false;
      settle.run(append({ stream: STREAM, type, actor, body }).logIndex, hash);
      return true;
    },
  };
}

export function createUnmappedReader(
  db: Database.Database,
): Pick<UnmappedStore, 'unmapped' | 'isUnmapped' | 'unmappedCount'> {
  const rows = db.prepare<[number, number], Row>(
    `SELECT seq, message_hash, envelope, body
     FROM unmapped_message JOIN ledger USING (log_index) JOIN payload USING (log_index)
     WHERE settled_log IS NULL AND seq > ? ORDER BY log_index LIMIT ?`,
  );
  const count = db
    .prepare<[], number>('SELECT count(*) FROM unmapped_message WHERE settled_log IS NULL')
    .pluck();
  const waits = db.prepare('SELECT 1 FROM unmapped_message WHERE message_hash = ? AND settled_log IS NULL');
  return {
    isUnmapped: (hash) => waits.get(hash) !== undefined,
    unmapped: (afterSeq, most) => rows.all(afterSeq, most).map(toStored),
    unmappedCount: () => count.get() ?? 0,
  };
}

const toStored = ({ seq, message_hash: hash, envelope, body }: Row): StoredUnmapped => ({
  seq,
  hash,
  recordedAt: recordedAtOf(envelope),
  body,
});
