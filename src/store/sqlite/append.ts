/** One unit of entries into the ledger, inside the transaction of its group. */
import type Database from 'better-sqlite3';
import { askOf, type Subject } from '../../domain/book/book.ts';
import {
  type AppendOutcome,
  type AppendRequest,
  type Committed,
  type Decision,
  type Destination,
  INTERIM,
  type Place,
  type Previewed,
  type Write,
} from '../port.ts';
import type { BookShelf } from './book-shelf.ts';
import type { DeviceShelf } from './devices.ts';
import { createEntryWriter } from './entry-writer.ts';
import { createHeads } from './heads.ts';
import type { Lanes } from './lanes.ts';
import { createLogEnd, type LogEnd } from './log-end.ts';

export interface Appender {
  append(unit: readonly AppendRequest[]): readonly AppendOutcome[];
  /** What one entry would be answered. */
  preview(request: AppendRequest): Previewed;
  /** What was written since it was last asked, which is durable if the commit since then succeeded. */
  takeWritten(): readonly Written[];
  /** Something else has appended to the log: where it ends is read anew, and all else that is kept still holds. */
  endMoved(): void;
  /** Drains were erased: nothing is kept of them in memory. */
  erased(drains: readonly string[]): void;
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
  readonly devices: DeviceShelf;
  now(): number;
}

export function createAppender(db: Database.Database, options: AppenderOptions): Appender {
  const { origin, shelf, devices } = options;
  const known = db.prepare<[string], Known>(
    'SELECT system, value, request_hash, receipt FROM identity JOIN payload USING (log_index) WHERE entry_id = ?',
  );
  const heads = createHeads(db, origin);
  const endOfLog = createLogEnd(db);
  const writer = createEntryWriter(db, options);
  const keepDrain = db.prepare<[string, string | null, number]>(
    `INSERT INTO drain (drain, patient_key, placed_log) VALUES (?, ?, ?)
     ON CONFLICT (drain) DO UPDATE SET patient_key = excluded.patient_key`,
  );
  const keepLink = db.prepare<[string, number, string | null]>(
    'INSERT INTO drain_patient (drain, log_index, patient) VALUES (?, ?, ?)',
  );
  const savepoint = savepointOn(db);
  let end: LogEnd | null = null;
  let written: Written[] = [];
  /** Drains that the unit under way has written to. */
  const touched = new Set<string>();

  function placeFor({ drain: goesTo }: AppendRequest): { place: Place; prev: string; index: number } {
    end ??= endOfLog();
    // Never backwards, though the clock may step: order of recording is order of the log.
    const recordedMs = Math.max(end.recordedMs, options.now());
    const to = typeof goesTo === 'string' ? ofDrain(goesTo) : goesTo(devices, recordedMs);
    const last = heads.of(to.stream);
    const recordedAt = new Date(recordedMs).toISOString();
    return {
      place: { stream: to.stream, drain: to.drain, seq: last.seq + 1, recordedMs, recordedAt },
      prev: last.hash,
      index: end.index + 1,
    };
  }

  function decide(request: AppendRequest, place: Place): { subject: Subject; decision: Decision } {
    const { drain } = place;
    const by = (subject: Subject) => ({ subject, decision: request.decide(subject, place, devices) });
    if (drain === null) return by(new Map());
    const { linksPatient } = request;
    return askOf(
      () => shelf.takeRecent(drain, linksPatient),
      () => shelf.take(drain, linksPatient),
      by,
    );
  }

  function appendOne(request: AppendRequest): AppendOutcome {
    const before = known.get(request.entryId);
    if (before !== undefined) return answerAgain(request, before);
    const { place, prev, index } = placeFor(request);
    const { subject, decision } = decide(request, place);
    if ('refused' in decision) return { kind: 'refused', refused: decision.refused };
    end = { index, recordedMs: place.recordedMs };
    heads.moved(place.stream, {
      seq: place.seq,
      hash: writer.keep({ index, prev, place }, request, decision),
    });
    decision.enter();
    if (place.drain !== null) enterDrain(index, place.drain, decision, place, subject);
    for (const next of decision.follows ?? []) follow({ ...next, sentBy: request.sentBy });
    return { kind: decision.unmatched === true ? 'unmatched' : 'recorded', receipt: decision.receipt };
  }

  function enterDrain(index: number, drain: string, decision: Write, place: Place, subject: Subject): void {
    if (decision.linked !== null) keepLink.run(drain, index, decision.linked.patient);
    touched.add(drain);
    // An interim reading changes nothing of what listeners show.
    if (decision.type !== INTERIM) written.push(writtenOf(index, drain, decision, place, subject));
    if (decision.relinked === null) return;
    keepDrain.run(drain, decision.relinked.patientKey, index);
    shelf.drop(subject);
  }

  /** Its cause is not written without it: what is thrown here takes the whole transaction back. */
  function follow(request: AppendRequest): void {
    const { kind } = appendOne(request);
    if (kind !== 'recorded')
      throw new Error(`what follows an entry of the same write was not taken: ${kind}`);
  }

  function preview(request: AppendRequest): Previewed {
    const before = known.get(request.entryId);
    if (before !== undefined) return answerAgain(request, before);
    const { place } = placeFor(request);
    const { decision } = decide(request, place);
    if ('refused' in decision) return { kind: 'refused', refused: decision.refused };
    return { kind: 'would-record', receipt: decision.receipt };
  }

  /** All or none of several: the savepoint is only paid for where there is more than one. */
  function appendWhole(unit: readonly AppendRequest[]): readonly AppendOutcome[] {
    savepoint.set.run();
    const before = written.length;
    touched.clear();
    try {
      const outcomes = unit.map(appendOne);
      if (outcomes.some(({ kind }) => kind === 'refused' || kind === 'conflict'))
        throw new UnitRefused(outcomes);
      savepoint.free.run();
      return outcomes;
    } catch (error) {
      savepoint.back.run();
      savepoint.free.run();
      written.length = before;
      for (const drain of touched) shelf.forget(drain);
      devices.forget();
      end = null;
      heads.forget();
      writer.forget();
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
    erased(drains) {
      for (const drain of drains) shelf.forget(drain);
      devices.forget();
      writer.forget();
    },
    forget() {
      written = [];
      end = null;
      heads.forget();
      writer.forget();
      devices.forget();
      shelf.clear();
    },
  };
}

const savepointOn = (db: Database.Database) => ({
  set: db.prepare('SAVEPOINT unit'),
  back: db.prepare('ROLLBACK TO unit'),
  free: db.prepare('RELEASE unit'),
});

const ofDrain = (drain: string): Destination => ({ stream: drain, drain });

function writtenOf(
  logIndex: number,
  drain: string,
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
