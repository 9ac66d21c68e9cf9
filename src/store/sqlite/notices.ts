/** What the log says of itself: notices in a stream of their own, and the checkpoints that were signed. */
import type Database from 'better-sqlite3';
import { ARCHIVED_TYPE, RETENTION } from '../../audit/archived.ts';
import { HEARTBEAT } from '../../audit/heartbeat.ts';
import type { Head } from '../../audit/merkle.ts';
import type { Author } from '../../domain/vocabulary/entry.ts';
import type { Notice, StoredNotice } from '../log-port.ts';
import { recordedAtOf } from './log-end.ts';
import type { OwnEntry, WrittenEntry } from './own-entries.ts';
import type { Tree } from './tree.ts';

const NOTICES = 'log';

interface Row {
  readonly log_index: number;
  readonly envelope: string;
  readonly body: string;
}

export function createNoticeReader(db: Database.Database): () => StoredNotice[] {
  const rows = db.prepare<[], Row>(
    `SELECT log_index, envelope, body FROM ledger JOIN payload USING (log_index)
     WHERE stream = '${NOTICES}' ORDER BY seq`,
  );
  return () => rows.all().map(toNotice);
}

const toNotice = ({ log_index, envelope, body }: Row): StoredNotice => ({
  logIndex: log_index,
  type: (JSON.parse(envelope) as { readonly type: string }).type,
  recordedAt: recordedAtOf(envelope),
  body,
});

/** Write one each, inside the transaction of its group. */
export const createNoticeWriters = (append: (entry: OwnEntry) => WrittenEntry) => {
  const write = (entry: OwnEntry): StoredNotice => {
    const { logIndex, recordedAt } = append(entry);
    return { logIndex, type: entry.type, recordedAt, body: entry.body };
  };
  return {
    notice: (notice: Notice) => write({ stream: NOTICES, ...notice }),
    heartbeat(body: string): void {
      write({ stream: HEARTBEAT, type: HEARTBEAT, actor: { type: 'service' }, body });
    },
    archived: (actor: Author, body: string) => write({ stream: RETENTION, type: ARCHIVED_TYPE, actor, body }),
  };
};

export function createCheckpointReader(db: Database.Database): () => string | undefined {
  const newest = db.prepare<[], string>('SELECT note FROM checkpoint ORDER BY size DESC LIMIT 1').pluck();
  return () => newest.get();
}

/** Signs inside the transaction: what is signed is durable with what it speaks of before anybody sees it. */
export function createCheckpointWriter(
  db: Database.Database,
  tree: Tree,
): (sign: (head: Head) => string) => string | null {
  const last = db.prepare<[], number | null>('SELECT max(size) FROM checkpoint').pluck();
  const keep = db.prepare('INSERT INTO checkpoint (size, note) VALUES (?, ?)');
  return (sign) => {
    tree.grow();
    const head = tree.head();
    if (head.size <= (last.get() ?? 0)) return null;
    const note = sign(head);
    keep.run(head.size, note);
    return note;
  };
}
