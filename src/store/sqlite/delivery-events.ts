/** Every step of every delivery, as a row that is never changed; all of one transaction are vouched for by one entry of the ledger. */
import type Database from 'better-sqlite3';
import {
  DELIVERY,
  readSteps,
  STEPS_TYPE,
  type StepRow,
  stepHash,
  writeStep,
  writeSteps,
} from '../../audit/delivery-steps.ts';
import type { ByWhom, DeliveryEventKind, Outcome } from '../delivery-port.ts';
import type { OwnEntry, WrittenEntry } from './own-entries.ts';
import { nextSalt } from './salts.ts';

export interface Noted {
  readonly kind: DeliveryEventKind;
  readonly atMs: number;
  readonly target: string;
  readonly drain?: string;
  readonly logIndex?: number;
  readonly attempts?: number;
  readonly by?: ByWhom | null;
  readonly outcome?: Outcome | null;
}

export type EventWriter = (event: Noted) => void;

export interface EventLog {
  readonly note: EventWriter;
  /** Appends the entry that vouches for all that was noted in this transaction. @returns whether there was anything */
  seal(): boolean;
  /** Forgets what was noted, after a rollback. */
  forget(): void;
}

export function createEventLog(db: Database.Database, append: (entry: OwnEntry) => WrittenEntry): EventLog {
  const insert = db.prepare(
    `INSERT INTO delivery_event (event, at_ms, target, drain, log_index, kind, attempts, actor, detail, salt)
     VALUES (@event, @at_ms, @target, @drain, @log_index, @kind, @attempts, @actor, @detail, @salt)`,
  );
  const lastOf = createLastEvent(db);
  let hashes: string[] = [];
  let last = lastOf();
  return {
    note(event) {
      const [row, salt] = [rowOf(event), nextSalt()];
      last += 1;
      insert.run({ ...row, event: last, salt });
      hashes.push(stepHash(salt, writeStep(row)));
    },
    seal() {
      if (hashes.length === 0) return false;
      const body = writeSteps({ first: last - hashes.length + 1, hashes });
      append({ stream: DELIVERY, type: STEPS_TYPE, actor: { type: 'service' }, body });
      hashes = [];
      return true;
    },
    forget() {
      hashes = [];
      last = lastOf();
    },
  };
}

/** Number of the last event that there ever was: it may have been erased, and no other may bear its number. */
function createLastEvent(db: Database.Database): () => number {
  const kept = db.prepare<[], number | null>('SELECT max(event) FROM delivery_event').pluck();
  const told = db
    .prepare<[], string>(
      `SELECT body FROM ledger JOIN payload USING (log_index) WHERE stream = '${DELIVERY}' ORDER BY seq DESC LIMIT 1`,
    )
    .pluck();
  return () => {
    const { first, hashes } = readSteps(told.get() ?? writeSteps({ first: 1, hashes: [] }));
    return Math.max(kept.get() ?? 0, first + hashes.length - 1);
  };
}

const rowOf = ({ kind, atMs, target, drain, logIndex, attempts = 0, by, outcome }: Noted): StepRow => ({
  at_ms: Math.round(atMs),
  target,
  drain: drain ?? null,
  log_index: logIndex ?? null,
  kind,
  attempts,
  actor: textOrNull(by),
  detail: textOrNull(outcome),
});

const textOrNull = (value: object | null | undefined): string | null =>
  value === null || value === undefined ? null : JSON.stringify(value);

/** Notes which targets begin to be served or cease to be, by what was noted last. */
export function createServedWriter(
  db: Database.Database,
  note: EventWriter,
): (targets: readonly string[], atMs: number) => void {
  const served = db
    .prepare<[], string>(
      `SELECT target FROM delivery_event e WHERE drain IS NULL AND kind = 'started' AND NOT EXISTS (
         SELECT 1 FROM delivery_event WHERE target = e.target AND drain IS NULL AND kind = 'left' AND event > e.event)
       GROUP BY target`,
    )
    .pluck();
  return (targets, atMs) => {
    const before = served.all();
    for (const target of targets) if (!before.includes(target)) note({ kind: 'started', target, atMs });
    for (const target of before) if (!targets.includes(target)) note({ kind: 'left', target, atMs });
  };
}
