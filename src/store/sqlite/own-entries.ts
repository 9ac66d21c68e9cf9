/** Entries that nobody sends: streams of the ledger like any other, but of no drain and with nothing issued. */
import type Database from 'better-sqlite3';
import type { RETENTION } from '../../audit/archived.ts';
import {
  type Envelope,
  entryHash,
  issuedCommitment,
  payloadCommitment,
  writeEnvelope,
} from '../../audit/chain.ts';
import type { DELIVERY } from '../../audit/delivery-steps.ts';
import type { ERASURE } from '../../audit/erasure.ts';
import type { HEARTBEAT } from '../../audit/heartbeat.ts';
import { createHeadReader } from './heads.ts';
import { createLogEnd } from './log-end.ts';
import { nextSalt } from './salts.ts';

export interface OwnEntry {
  /** No drain can be called so: those are named by 16 characters of base 32. That of an access is named by its day. */
  readonly stream:
    | 'configuration'
    | 'log'
    | 'hl7v2'
    | typeof DELIVERY
    | typeof ERASURE
    | typeof HEARTBEAT
    | typeof RETENTION
    | ((recordedAt: string) => string);
  readonly type: string;
  readonly actor: Envelope['actor'];
  /** Canonical text. */
  readonly body: string;
}

export interface WrittenEntry {
  readonly logIndex: number;
  readonly seq: number;
  /** RFC 3339, UTC. */
  readonly recordedAt: string;
  readonly hash: string;
}

/** Writes one, inside the transaction of its group. */
export function createOwnEntryWriter(
  db: Database.Database,
  { origin, now }: { readonly origin: string; now(): number },
): (entry: OwnEntry) => WrittenEntry {
  const end = createLogEnd(db);
  const headOf = createHeadReader(db, origin);
  const ledger = db.prepare(
    'INSERT INTO ledger (log_index, stream, seq, envelope, hash) VALUES (?, ?, ?, ?, ?)',
  );
  const payload = db.prepare('INSERT INTO payload (log_index, salt, body, receipt) VALUES (?, ?, ?, ?)');

  return (entry) => {
    const { index, recordedMs } = end();
    // Never before what is in the ledger already, though the clock may step: order of recording is order of the log.
    const recordedAt = new Date(Math.max(recordedMs, now())).toISOString();
    const stream = typeof entry.stream === 'string' ? entry.stream : entry.stream(recordedAt);
    const before = headOf(stream);
    const place = { logIndex: index + 1, seq: before.seq + 1, recordedAt };
    const salt = nextSalt();
    const envelope = envelopeOf(entry, { ...place, origin, stream, prev: before.hash }, salt);
    const hash = entryHash(envelope);
    ledger.run(place.logIndex, stream, place.seq, envelope, hash);
    // Nobody waits for an answer.
    payload.run(place.logIndex, salt, entry.body, '');
    return { ...place, hash };
  };
}

interface Place {
  readonly origin: string;
  readonly stream: string;
  readonly seq: number;
  readonly prev: string;
  readonly recordedAt: string;
}

function envelopeOf({ type, actor, body }: OwnEntry, place: Place, salt: Uint8Array): string {
  return writeEnvelope({
    v: 1,
    origin: place.origin,
    stream: place.stream,
    seq: place.seq,
    prev: place.prev,
    entry: `${place.stream}-${place.seq}`,
    type,
    actor,
    effective_at: place.recordedAt,
    recorded_at: place.recordedAt,
    supersedes: null,
    payload: payloadCommitment(salt, body),
    issued: issuedCommitment(salt, []),
  });
}
