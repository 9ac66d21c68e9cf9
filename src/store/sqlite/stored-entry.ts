import type { StoredEntry } from '../port.ts';

/** A row of the ledger with what it says. */
export interface EntryRow {
  readonly seq: number;
  readonly log_index: number;
  readonly envelope: string;
  readonly hash: string;
  readonly body: string;
}

export function storedEntry({ seq, log_index, envelope, hash, body }: EntryRow): StoredEntry {
  const { entry, type, recorded_at } = JSON.parse(envelope) as {
    entry: string;
    type: string;
    recorded_at: string;
  };
  return { seq, logIndex: log_index, entryId: entry, recordedAt: recorded_at, hash, type, body };
}
