/** Every step of every delivery, as a row that is never changed. */
import type Database from 'better-sqlite3';
import type { ByWhom, DeliveryEventKind, Outcome } from '../delivery-port.ts';

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

export function createEventWriter(db: Database.Database): EventWriter {
  const insert = db.prepare(
    `INSERT INTO delivery_event (at_ms, target, drain, log_index, kind, attempts, actor, detail)
     VALUES (@atMs, @target, @drain, @logIndex, @kind, @attempts, @actor, @detail)`,
  );
  return ({ kind, atMs, target, drain, logIndex, attempts = 0, by, outcome }) => {
    insert.run({
      atMs: Math.round(atMs),
      target,
      drain: drain ?? null,
      logIndex: logIndex ?? null,
      kind,
      attempts,
      actor: textOrNull(by),
      detail: textOrNull(outcome),
    });
  };
}

const textOrNull = (value: object | null | undefined): string | null =>
  value === null || value === undefined ? null : JSON.stringify(value);

/** Notes which targets began to be served or ceased to be since the ledger was last open. */
export function noteTargets(db: Database.Database, targets: readonly string[], now: () => number): void {
  const note = createEventWriter(db);
  const served = db
    .prepare<[], string>(
      `SELECT target FROM delivery_event e WHERE drain IS NULL AND kind = 'started' AND NOT EXISTS (
         SELECT 1 FROM delivery_event WHERE target = e.target AND drain IS NULL AND kind = 'left' AND event > e.event)
       GROUP BY target`,
    )
    .pluck()
    .all();
  db.transaction(() => {
    for (const target of targets)
      if (!served.includes(target)) note({ kind: 'started', target, atMs: now() });
    for (const target of served) if (!targets.includes(target)) note({ kind: 'left', target, atMs: now() });
  }).immediate();
}
