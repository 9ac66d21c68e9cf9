/** What the log says of itself in streams of its own. */
import type Database from 'better-sqlite3';
import { ARCHIVED_TYPE, RETENTION } from '../../audit/archived.ts';
import { HEARTBEAT } from '../../audit/heartbeat.ts';
import type { Author } from '../../domain/vocabulary/entry.ts';
import type { Notice, StoredNotice } from '../log-port.ts';
import { recordedAtOf } from './log-end.ts';
import type { OwnEntry, WrittenEntry } from './own-entries.ts';

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
