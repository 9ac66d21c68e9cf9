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

const envelopeOf = ({ envelope }: EntryRow): Envelope => JSON.parse(envelope);

export const storedEntry = (row: EntryRow): StoredEntry => entryOf(row, envelopeOf(row));

export function sentEntry(row: EntryRow): SentEntry {
  const envelope = envelopeOf(row);
  return { ...entryOf(row, envelope), client: envelope.sent_by?.client ?? null };
}

function entryOf(
  { seq, log_index, hash, body }: EntryRow,
  { entry, type, recorded_at }: Envelope,
): StoredEntry {
  return { seq, logIndex: log_index, entryId: entry, recordedAt: recorded_at, hash, type, body };
}
