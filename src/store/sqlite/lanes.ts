/** Each drain's place on its way to each target. */
import type Database from 'better-sqlite3';
import type { Delivery, DeliveryName, Outcome } from '../delivery-port.ts';

export interface Lanes {
  /** Something was issued about a drain. Costs nothing while its lanes are busy, whatever the number of targets. */
  open(drain: string, logIndex: number): void;
  /**
   * On to what is asked for again, what is to be looked for, what is replayed, then the next in the order of the ledger.
   * @param passed place in the ledger that the lane has come to in its order
   */
  advance(target: string, drain: string, now: number, passed?: number): void;
  setAside(
    delivery: DeliveryName & { attempts: number },
    aside: SetAside,
    outcome: Outcome,
    now: number,
  ): void;
  /** Forgets which lanes are busy, after a rollback. */
  forget(): void;
}

export interface SetAside {
  readonly state: 'dead' | 'accepted' | 'skipped' | 'requeued';
  /** How often the target has accepted it. */
  readonly accepted: number;
  /** When to look for what was accepted, ms since the epoch. */
  readonly dueMs?: number | null;
}

interface Lane {
  readonly cursor: number;
  readonly replay_next: number | null;
  readonly replay_last: number | null;
}

interface Place {
  readonly logIndex: number;
  readonly redo: Delivery['redo'];
  readonly accepted: number;
}

const MOST_REMEMBERED = 100_000;

export function createLanes(db: Database.Database, targets: readonly string[]): Lanes {
  const open = db.prepare(
    `INSERT INTO lane (target, drain, log_index, cursor, state, attempts, since_ms, due_ms)
     SELECT value, @drain, @logIndex, @logIndex, 'waiting', 0, 0, 0 FROM json_each(@targets) WHERE true
     ON CONFLICT (target, drain) DO UPDATE SET
       log_index = excluded.log_index, cursor = excluded.cursor, state = 'waiting', redo = NULL,
       attempts = 0, since_ms = 0, due_ms = 0, outcome = NULL, accepted = 0
     WHERE state = 'idle'`,
  );
  const read = db.prepare<[string, string], Lane>(
    'SELECT cursor, replay_next, replay_last FROM lane WHERE target = ? AND drain = ?',
  );
  // What has gone in a Bundle with others has been tried, and what came of that may not be known.
  const move = db.prepare(
    `UPDATE lane SET log_index = @logIndex, cursor = @cursor, redo = @redo, replay_next = @replay_next,
       state = iif(@redo IS NULL AND @logIndex <= doubt_to, 'unknown', 'waiting'),
       attempts = iif(@redo IS NULL AND @logIndex <= shared_to, 1, 0),
       since_ms = 0, due_ms = @now, outcome = NULL, accepted = @accepted
     WHERE target = @target AND drain = @drain`,
  );
  const rest = db.prepare(
    `UPDATE lane SET state = 'idle', redo = NULL, cursor = @cursor, replay_next = NULL, replay_last = NULL, attempts = 0,
       since_ms = 0, due_ms = 0, outcome = NULL, accepted = 0
     WHERE target = @target AND drain = @drain`,
  );
  const aside = db.prepare(
    `INSERT INTO set_aside (target, drain, log_index, state, at_ms, attempts, outcome, accepted, due_ms)
     VALUES (@target, @drain, @logIndex, @state, @now, @attempts, @outcome, @accepted, @dueMs)
     ON CONFLICT (target, drain, log_index) DO UPDATE SET
       state = excluded.state, at_ms = excluded.at_ms, attempts = excluded.attempts, outcome = excluded.outcome,
       accepted = excluded.accepted, due_ms = excluded.due_ms`,
  );
  const nextPlace = createNext(db);
  const names = JSON.stringify(targets);
  const busy = new Set<string>();

  return {
    open(drain, logIndex) {
      if (busy.has(drain)) return;
      open.run({ drain, logIndex, targets: names });
      if (busy.size >= MOST_REMEMBERED) busy.clear();
      busy.add(drain);
    },
    advance(target, drain, now, passed = 0) {
      const before = read.get(target, drain);
      if (before === undefined) throw new Error(`no lane of ${drain} to ${target}`);
      const lane = { ...before, cursor: Math.max(before.cursor, passed) };
      const place = nextPlace(target, drain, lane, now);
      if (place === null) {
        rest.run({ target, drain, cursor: lane.cursor });
        busy.delete(drain);
        return;
      }
      const { logIndex, redo, accepted } = place;
      const cursor = redo === null ? logIndex : lane.cursor;
      const replay_next = redo === 'replay' ? logIndex + 1 : lane.replay_next;
      move.run({ target, drain, logIndex, cursor, redo, replay_next, now, accepted });
    },
    setAside({ target, drain, logIndex, attempts }, { state, accepted, dueMs = null }, outcome, now) {
      const told = JSON.stringify(outcome);
      aside.run({ target, drain, logIndex, state, now, attempts, accepted, dueMs, outcome: told });
    },
    forget: () => busy.clear(),
  };
}

function createNext(db: Database.Database) {
  const takeBack = (which: string) =>
    db.prepare<[object], { log_index: number; accepted: number }>(
      `DELETE FROM set_aside WHERE (target, drain, log_index) IN (
         SELECT target, drain, log_index FROM set_aside
         WHERE target = @target AND drain = @drain AND ${which} ORDER BY log_index LIMIT 1)
       RETURNING log_index, accepted`,
    );
  const requeued = takeBack(`state = 'requeued'`);
  const lookedFor = takeBack(`state = 'accepted' AND due_ms <= @now`);
  const between = db
    .prepare<[string, number, number], number | null>(
      'SELECT min(log_index) FROM issued WHERE drain = ? AND log_index BETWEEN ? AND ?',
    )
    .pluck();
  return (target: string, drain: string, lane: Lane, now: number): Place | null => {
    const again = requeued.get({ target, drain });
    if (again !== undefined) return { logIndex: again.log_index, redo: 'requeue', accepted: again.accepted };
    const look = lookedFor.get({ target, drain, now });
    if (look !== undefined) return { logIndex: look.log_index, redo: 'look', accepted: look.accepted };
    if (lane.replay_next !== null && lane.replay_last !== null) {
      const replayed = between.get(drain, lane.replay_next, lane.replay_last) ?? null;
      if (replayed !== null) return { logIndex: replayed, redo: 'replay', accepted: 0 };
    }
    const next = between.get(drain, lane.cursor + 1, Number.MAX_SAFE_INTEGER) ?? null;
    return next === null ? null : { logIndex: next, redo: null, accepted: 0 };
  };
}
