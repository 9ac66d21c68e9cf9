/** Writes the rows of one entry, inside the transaction of its group. */
import type Database from 'better-sqlite3';
import { entryHash, issuedCommitment, payloadCommitment, writeEnvelope } from '../../audit/chain.ts';
import type { AppendRequest, DrainIssue, Place, Write } from '../port.ts';
import type { DeviceShelf } from './devices.ts';
import { createFrameWriter } from './frames.ts';
import type { Lanes } from './lanes.ts';
import { nextSalt } from './salts.ts';

export interface EntryPlace {
  /** In the whole log. */
  readonly index: number;
  /** Hash of the entry before it in its stream. */
  readonly prev: string;
  readonly place: Place;
}

interface Options {
  readonly origin: string;
  readonly lanes: Lanes;
  readonly devices: DeviceShelf;
}

export function createEntryWriter(db: Database.Database, { origin, lanes, devices }: Options) {
  const write = statements(db);
  const frames = createFrameWriter(db);

  /** @returns the hash of the entry */
  function keep({ index, prev, place }: EntryPlace, request: AppendRequest, decision: Write): string {
    const salt = nextSalt();
    const issued = decision.issues.flatMap((issue) =>
      issue.resources.length === 0 ? [] : { issue, stored: frames.store(issue.resources) },
    );
    const envelope = writeEnvelope({
      v: 1,
      origin,
      stream: place.stream,
      seq: place.seq,
      prev,
      entry: request.entryId,
      type: decision.type,
      actor: decision.actor,
      effective_at: decision.effectiveAt,
      recorded_at: place.recordedAt,
      sent_by: request.sentBy,
      supersedes: decision.supersedes,
      payload: payloadCommitment(salt, decision.body),
      issued: issuedCommitment(
        salt,
        issued.map(({ stored }) => stored),
      ),
    });
    const hash = entryHash(envelope);
    write.ledger.run(index, place.stream, place.seq, envelope, hash);
    write.payload.run(index, salt, decision.body, decision.receipt);
    const { system, value } = request.identifier;
    write.identity.run(request.entryId, system, value, request.requestHash, index);
    for (const { issue, stored } of issued) keepIssue(index, issue, stored);
    if (decision.devices !== undefined) devices.write(index, decision.devices);
    return hash;
  }

  function keepIssue(index: number, { drain, reissued, deliverable }: DrainIssue, stored: string): void {
    write.issued.run(drain, index, stored);
    for (const { factKey, version, status } of reissued)
      write.reissue.run(drain, factKey, version, status, index);
    if (deliverable) lanes.open(drain, index);
  }

  return {
    keep,
    /** Forgets what it keeps in memory, after a rollback. */
    forget(): void {
      frames.forget();
      lanes.forget();
    },
  };
}

function statements(db: Database.Database) {
  return {
    ledger: db.prepare('INSERT INTO ledger (log_index, stream, seq, envelope, hash) VALUES (?, ?, ?, ?, ?)'),
    payload: db.prepare('INSERT INTO payload (log_index, salt, body, receipt) VALUES (?, ?, ?, ?)'),
    identity: db.prepare(
      'INSERT INTO identity (entry_id, system, value, request_hash, log_index) VALUES (?, ?, ?, ?, ?)',
    ),
    issued: db.prepare('INSERT INTO issued (drain, log_index, resources) VALUES (?, ?, ?)'),
    reissue: db.prepare(
      'INSERT INTO reissue (drain, fact_key, version, status, log_index) VALUES (?, ?, ?, ?, ?)',
    ),
  };
}
