/** One unit of entries into the ledger, inside the transaction of its group. */
import type Database from 'better-sqlite3';
import { entryHash, genesis, issuedCommitment, payloadCommitment, writeEnvelope } from '../../audit/chain.ts';
import type { Subject } from '../../domain/book.ts';
import {
  type AppendOutcome,
  type AppendRequest,
  type Committed,
  type Decision,
  type DrainIssue,
  INTERIM,
  type Place,
  type Previewed,
  type Write,
} from '../port.ts';
import type { BookShelf } from './books.ts';
import { createFrameWriter } from './frames.ts';
import type { Lanes } from './lanes.ts';
import { createLogEnd, type LogEnd } from './log-end.ts';
import { nextSalt } from './salts.ts';

export interface Appender {
  append(unit: readonly AppendRequest[]): readonly AppendOutcome[];
  /** What one entry would be answered. */
  preview(request: AppendRequest): Previewed;
  /** What was written since it was last asked, which is durable if the commit since then succeeded. */
  takeWritten(): readonly Written[];
  /** Something else has appended to the log: where it ends is read anew, and all else that is kept still holds. */
  endMoved(): void;
  /** Forgets all that is kept in memory, after a rollback. */
  forget(): void;
}

export interface Written {
  readonly entry: Committed;
  readonly concerns: readonly string[];
}

interface Known {
  readonly system: string;
  readonly value: string;
  readonly request_hash: string;
  readonly receipt: string;
}

/** Thrown to take back the first entry of a unit when the second is refused. */
class UnitRefused extends Error {
  readonly outcomes: readonly AppendOutcome[];
  constructor(outcomes: readonly AppendOutcome[]) {
    super('a unit is written whole or not at all');
    this.outcomes = outcomes;
  }
}

export interface AppenderOptions {
  readonly origin: string;
  readonly lanes: Lanes;
  readonly shelf: BookShelf;
  now(): number;
}

export function createAppender(db: Database.Database, options: AppenderOptions): Appender {
  const { origin, shelf, lanes } = options;
  const known = db.prepare<[string], Known>(
    'SELECT system, value, request_hash, receipt FROM identity JOIN payload USING (log_index) WHERE entry_id = ?',
  );
  const head = db.prepare<[string], { seq: number; hash: string }>(
    'SELECT seq, hash FROM ledger WHERE stream = ? ORDER BY seq DESC LIMIT 1',
  );
  const endOfLog = createLogEnd(db);
  const write = statements(db);
  const frames = createFrameWriter(db);
  const savepoint = {
    set: db.prepare('SAVEPOINT unit'),
    back: db.prepare('ROLLBACK TO unit'),
    free: db.prepare('RELEASE unit'),
  };
  let end: LogEnd | null = null;
  let written: Written[] = [];

  function placeOf(seq: number, { recordedMs: last }: LogEnd): Place {
    // Never backwards, though the clock may step: order of recording is order of the log.
    const recordedMs = Math.max(last, options.now());
    return { seq, recordedMs, recordedAt: new Date(recordedMs).toISOString() };
  }

  function appendOne(request: AppendRequest): AppendOutcome {
    const before = known.get(request.entryId);
    if (before !== undefined) return answerAgain(request, before);
    const { drain } = request;
    const subject = shelf.take(drain, request.linksPatient);
    const last = head.get(drain) ?? { seq: 0, hash: genesis(origin, drain) };
    end ??= endOfLog();
    const place = placeOf(last.seq + 1, end);
    const decision: Decision = request.decide(subject, place);
    if ('refused' in decision) return { kind: 'refused', refused: decision.refused };
    const index = end.index + 1;
    end = { index, recordedMs: place.recordedMs };
    keep(index, request, decision, place, last.hash);
    decision.enter();
    if (decision.linked !== null) write.link.run(drain, index, decision.linked.patient);
    // An interim reading changes nothing of what listeners show.
    if (decision.type !== INTERIM) written.push(writtenOf(index, request, decision, place, subject));
    if (decision.relinked !== null) {
      write.drain.run(drain, decision.relinked.patientKey, index);
      shelf.drop(subject);
    }
    return { kind: 'recorded', receipt: decision.receipt };
  }

  function preview(request: AppendRequest): Previewed {
    const before = known.get(request.entryId);
    if (before !== undefined) return answerAgain(request, before);
    const subject = shelf.take(request.drain, request.linksPatient);
    end ??= endOfLog();
    const decision = request.decide(subject, placeOf((head.get(request.drain)?.seq ?? 0) + 1, end));
    if ('refused' in decision) return { kind: 'refused', refused: decision.refused };
    return { kind: 'would-record', receipt: decision.receipt };
  }

  function keep(index: number, request: AppendRequest, decision: Write, place: Place, prev: string): void {
    const salt = nextSalt();
    const issued = decision.issues.flatMap((issue) =>
      issue.resources.length === 0 ? [] : { issue, stored: frames.store(issue.resources) },
    );
    const envelope = writeEnvelope({
      v: 1,
      origin,
      stream: request.drain,
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
    write.ledger.run(index, request.drain, place.seq, envelope, entryHash(envelope));
    write.payload.run(index, salt, decision.body, decision.receipt);
    const { system, value } = request.identifier;
    write.identity.run(request.entryId, system, value, request.requestHash, index);
    for (const { issue, stored } of issued) keepIssue(index, issue, stored);
  }

  function keepIssue(index: number, { drain, reissued, deliverable }: DrainIssue, stored: string): void {
    write.issued.run(drain, index, stored);
    for (const { factKey, version, status } of reissued)
      write.reissue.run(drain, factKey, version, status, index);
    if (deliverable) lanes.open(drain, index);
  }

  /** All or none of several: the savepoint is only paid for where there is more than one. */
  function appendWhole(unit: readonly AppendRequest[]): readonly AppendOutcome[] {
    savepoint.set.run();
    const before = written.length;
    try {
      const outcomes = unit.map(appendOne);
      if (outcomes.some(({ kind }) => kind === 'refused' || kind === 'conflict'))
        throw new UnitRefused(outcomes);
      savepoint.free.run();
      return outcomes;
    } catch (error) {
      savepoint.back.run();
      savepoint.free.run();
      for (const { drain } of unit) shelf.forget(drain);
      written.length = before;
      end = null;
      frames.forget();
      lanes.forget();
      if (error instanceof UnitRefused) return error.outcomes;
      throw error;
    }
  }

  return {
    append: (unit) => (unit.length === 1 ? unit.map(appendOne) : appendWhole(unit)),
    preview,
    takeWritten() {
      const taken = written;
      written = [];
      return taken;
    },
    endMoved() {
      end = null;
    },
    forget() {
      written = [];
      end = null;
      frames.forget();
      lanes.forget();
      shelf.clear();
    },
  };
}

function writtenOf(
  logIndex: number,
  { drain }: AppendRequest,
  { type }: Write,
  { seq, recordedAt }: Place,
  subject: Subject,
): Written {
  return { entry: { logIndex, drain, seq, kind: type, recordedAt }, concerns: [...subject.keys()] };
}

function answerAgain(request: AppendRequest, before: Known): Exclude<Previewed, { kind: 'would-record' }> {
  const { system, value } = request.identifier;
  if (before.system !== system || before.value !== value) {
    throw new Error(`two identifiers share the name ${request.entryId}; change the value of the new one`);
  }
  const isAnswer = before.request_hash === request.requestHash || request.isAnswer(before.receipt);
  const kind = isAnswer ? 'replayed' : 'conflict';
  return { kind, receipt: before.receipt };
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
    link: db.prepare('INSERT INTO drain_patient (drain, log_index, patient) VALUES (?, ?, ?)'),
    drain: db.prepare(
      `INSERT INTO drain (drain, patient_key, placed_log) VALUES (?, ?, ?)
       ON CONFLICT (drain) DO UPDATE SET patient_key = excluded.patient_key`,
    ),
  };
}
