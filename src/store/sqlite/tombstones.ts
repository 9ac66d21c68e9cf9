/** What a ledger says was lawfully erased. */
import type Database from 'better-sqlite3';
import { payloadCommitment } from '../../audit/chain.ts';
import { ERASURE, readErased, type Tombstone } from '../../audit/erasure.ts';
import type { Store } from '../port.ts';
import { recordedAtOf } from './log-end.ts';

export interface Tombstones {
  /** In the order of the log. */
  readonly all: readonly Tombstone[];
  /** Place of the first that is not what its entry commits to, and so says nothing; null where there is none. */
  readonly changed: { readonly log_index: number; readonly stream: string; readonly seq: number } | null;
}

interface Row {
  readonly log_index: number;
  readonly stream: string;
  readonly seq: number;
  readonly envelope: string;
  readonly salt: Buffer;
  readonly body: string;
}

export function createTombstoneReader(db: Database.Database): () => Tombstones {
  const rows = db.prepare<[], Row>(
    `SELECT log_index, stream, seq, envelope, salt, body FROM ledger JOIN payload USING (log_index)
     WHERE stream = '${ERASURE}' ORDER BY seq`,
  );
  return () => {
    const read = rows.all();
    const isSo = ({ envelope, salt, body }: Row): boolean =>
      envelope.includes(`"payload":"${payloadCommitment(salt, body)}"`);
    return {
      all: read
        .filter(isSo)
        .map(({ log_index, body }) => ({ logIndex: log_index, erased: readErased(body) })),
      changed: read.find((row) => !isSo(row)) ?? null,
    };
  };
}

export function createErasureReader(db: Database.Database): Store['erasureOf'] {
  const tombstone = db.prepare<[string], { readonly log_index: number; readonly envelope: string }>(
    `SELECT ledger.log_index, envelope FROM erased JOIN ledger ON ledger.log_index = tombstone
     WHERE entry_id = ? ORDER BY tombstone DESC LIMIT 1`,
  );
  return (name) => {
    const found = tombstone.get(name);
    return found === undefined
      ? null
      : { logIndex: found.log_index, recordedAt: recordedAtOf(found.envelope) };
  };
}
