/** The ledger of all drains in the order in which it was written, but for interim readings. */
import type Database from 'better-sqlite3';
import { type Committed, INTERIM, type Store } from '../port.ts';

interface LedgerRow {
  readonly log_index: number;
  readonly stream: string;
  readonly seq: number;
  readonly envelope: string;
}

export function createFeedReader(db: Database.Database): Pick<Store, 'committedAfter' | 'newestLogIndex'> {
  const after = db.prepare<[number, number], LedgerRow>(
    `SELECT log_index, stream, seq, envelope FROM ledger
     WHERE log_index > ? AND EXISTS (SELECT 1 FROM drain WHERE drain = stream)
       AND json_extract(envelope, '$.type') <> '${INTERIM}' ORDER BY log_index LIMIT ?`,
  );
  const newest = db.prepare<[], number | null>('SELECT max(log_index) FROM ledger').pluck();
  return {
    committedAfter: (logIndex, most) => after.all(logIndex, most).map(committed),
    newestLogIndex: () => newest.get() ?? -1,
  };
}

function committed({ log_index: logIndex, stream: drain, seq, envelope }: LedgerRow): Committed {
  const { type: kind, recorded_at: recordedAt } = JSON.parse(envelope) as {
    type: string;
    recorded_at: string;
  };
  return { logIndex, drain, seq, kind, recordedAt };
}
