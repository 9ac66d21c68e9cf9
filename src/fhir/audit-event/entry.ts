/** What the ledger says that an AuditEvent is made of: the envelope of an entry, and of an access its body. */
import type { Author, Identifier, Reference } from '../../domain/vocabulary/entry.ts';

export interface AuditedEntry {
  /** Place in the ledger. */
  readonly logIndex: number;
  readonly envelope: AuditedEnvelope;
  /** Of an access: what it says. */
  readonly access: AuditedAccess | null;
  /** Of an entry of a drain: whom the drain was linked to by then. */
  readonly patient: Reference | null;
  /** Of an entry of a drain: its sender's key. */
  readonly identifier: Identifier | null;
  /** Of an entry of a drain: whether it issued anything, so that there is a Provenance of it. */
  readonly hasIssued: boolean;
}

export interface AuditedEnvelope {
  readonly origin: string;
  readonly stream: string;
  readonly entry: string;
  readonly type: string;
  readonly recorded_at: string;
  readonly actor: Author | { readonly type: 'service' | 'client' };
  readonly sent_by?: Sender;
}

export interface Sender {
  /** Null: it was not known. */
  readonly client: string | null;
  readonly subject: string | null;
  readonly credential: string | null;
  readonly address: string;
  readonly request_id: string | null;
}

export interface AuditedAccess extends Sender {
  readonly interaction: string;
  readonly operation: string;
  readonly request: string;
  readonly status: number;
  readonly patient: Reference | null;
  readonly drains: readonly string[];
  /** Of repeats told together. */
  readonly times?: number;
  readonly from?: string;
  readonly to?: string;
}
