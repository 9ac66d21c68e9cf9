import type { SentEntry, StoredEntry } from '../port.ts';

/** A row of the ledger with what it says. */
export interface EntryRow {
  readonly seq: number;
  readonly log_index: number;
  readonly envelope: string;
  readonly hash: string;
  readonly body: string;
}

/** What is read of an envelope. */
interface Envelope {
  readonly entry: string;
  readonly type: string;
  readonly recorded_at: string;
  readonly sent_by?: { readonly client: string | null };
}

export function storedEntry({ seq, log_index, envelope, hash, body }: EntryRow): StoredEntry {
  const { entry, type, recorded_at }: Envelope = JSON.parse(envelope);
  return { seq, logIndex: log_index, entryId: entry, recordedAt: recorded_at, hash, type, body };
}

/** Member by member: to spread {@link storedEntry} takes as long again as to read it. */
export function sentEntry({ seq, log_index, envelope, hash, body }: EntryRow): SentEntry {
  const { entry, type, recorded_at, sent_by }: Envelope = JSON.parse(envelope);
  const client = sent_by?.client ?? null;
  return { seq, logIndex: log_index, entryId: entry, recordedAt: recorded_at, hash, type, body, client };
}
