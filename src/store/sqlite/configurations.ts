/** Versions of the configuration: a stream of the ledger like any other, but of no drain and with nothing issued. */
import { randomBytes } from 'node:crypto';
import type Database from 'better-sqlite3';
import { entryHash, genesis, issuedCommitment, payloadCommitment, writeEnvelope } from '../../audit/chain.ts';
import type { Configured, StoredConfiguration } from '../port.ts';

/** No drain can be called so: those are named by 16 characters of base 32. */
const STREAM = 'configuration';
const SALT_BYTES = 16;

interface Row {
  readonly seq: number;
  readonly envelope: string;
  readonly hash: string;
  readonly body: string;
}

const VERSIONS = `SELECT seq, envelope, hash, body FROM ledger JOIN payload USING (log_index)
  WHERE stream = '${STREAM}' ORDER BY seq`;

/** Reads all versions, oldest first. */
export function createConfigurationReader(db: Database.Database): () => StoredConfiguration[] {
  const versions = db.prepare<[], Row>(VERSIONS);
  return () => versions.all().map(toVersion);
}

/** Writes a version unless the newest one says the same to the letter, inside the transaction of its group. */
export function createConfigurationWriter(
  db: Database.Database,
  { origin, now }: { readonly origin: string; now(): number },
): (body: string) => Configured {
  const newest = db.prepare<[], Row>(`${VERSIONS} DESC LIMIT 1`);
  const last = db.prepare<[], { readonly log_index: number; readonly envelope: string }>(
    'SELECT log_index, envelope FROM ledger ORDER BY log_index DESC LIMIT 1',
  );
  const ledger = db.prepare(
    'INSERT INTO ledger (log_index, stream, seq, envelope, hash) VALUES (?, ?, ?, ?, ?)',
  );
  const payload = db.prepare('INSERT INTO payload (log_index, salt, body, receipt) VALUES (?, ?, ?, ?)');

  return (body) => {
    const before = newest.get();
    if (before?.body === body) return { version: toVersion(before), isNew: false };
    const end = last.get();
    // Never before what is in the ledger already, though the clock may step: order of recording is order of the log.
    const endMs = end === undefined ? 0 : Date.parse(recordedAtOf(end.envelope));
    const recordedAt = new Date(Math.max(endMs, now())).toISOString();
    const place = { seq: (before?.seq ?? 0) + 1, prev: before?.hash ?? genesis(origin, STREAM), recordedAt };
    const salt = randomBytes(SALT_BYTES);
    const envelope = envelopeOf(origin, place, salt, body);
    const version = { seq: place.seq, recordedAt, hash: entryHash(envelope), body };
    const index = (end?.log_index ?? -1) + 1;
    ledger.run(index, STREAM, place.seq, envelope, version.hash);
    // Nobody waits for an answer.
    payload.run(index, salt, body, '');
    return { version, isNew: true };
  };
}

interface VersionPlace {
  readonly seq: number;
  readonly prev: string;
  readonly recordedAt: string;
}

function envelopeOf(
  origin: string,
  { seq, prev, recordedAt }: VersionPlace,
  salt: Uint8Array,
  body: string,
): string {
  return writeEnvelope({
    v: 1,
    origin,
    stream: STREAM,
    seq,
    prev,
    entry: `${STREAM}-${seq}`,
    type: 'configuration',
    actor: { type: 'service' },
    effective_at: recordedAt,
    recorded_at: recordedAt,
    supersedes: null,
    payload: payloadCommitment(salt, body),
    issued: issuedCommitment(salt, []),
  });
}

const toVersion = ({ seq, envelope, hash, body }: Row): StoredConfiguration => ({
  seq,
  recordedAt: recordedAtOf(envelope),
  hash,
  body,
});

const recordedAtOf = (envelope: string): string =>
  (JSON.parse(envelope) as { readonly recorded_at: string }).recorded_at;
