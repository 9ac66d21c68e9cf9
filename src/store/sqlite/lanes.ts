/** Each drain's place on its way to each target. */
import type Database from 'better-sqlite3';
import type { Delivery, DeliveryName, Outcome } from '../delivery-port.ts';

export interface Lanes {
  /** Something was issued about a drain. Costs nothing while its lanes are busy, whatever the number of targets. */
  open(drain: string, logIndex: number): void;
  /** On to what is asked for again, then to what is replayed, then to the next in the order of the ledger. */
  advance(target: string, drain: string, now: number): void;
  setAside(
    delivery: DeliveryName & { attempts: number },
    state: SetAside,
    outcome: Outcome,
    now: number,
  ): void;
  /** Forgets which lanes are busy, after a rollback. */
  forget(): void;
}

type SetAside = 'dead' | 'accepted' | 'skipped';

interface Lane {
  readonly cursor: number;
  readonly replay_next: number | null;
  readonly replay_last: number | null;
}

interface Place {
  readonly logIndex: number;
  readonly redo: Delivery['redo'];
}

const MOST_REMEMBERED = 100_000;

export function createLanes(db: Database.Database, targets: readonly string[]): Lanes {
  const open = db.prepare(
    `INSERT INTO lane (target, drain, log_index, cursor, state, attempts, since_ms, due_ms)
     SELECT value, @drain, @logIndex, @logIndex, 'waiting', 0, 0, 0 FROM json_each(@targets) WHERE true
     ON CONFLICT (target, drain) DO UPDATE SET
       log_index = excluded.log_index, cursor = excluded.cursor, state = 'waiting', redo = NULL,
       attempts = 0, since_ms = 0, due_ms = 0, outcome = NULL
     WHERE state = 'idle'`,
  );
  const read = db.prepare<[string, string], Lane>(
    'SELECT cursor, replay_next, replay_last FROM lane WHERE target = ? AND drain = ?',
  );
  const move = db.prepare(
    `UPDATE lane SET log_index = @logIndex, cursor = @cursor, state = 'waiting', redo = @redo,
       replay_next = @replay_next, attempts = 0, since_ms = 0, due_ms = @now, outcome = NULL
     WHERE target = @target AND drain = @drain`,
  );
  const rest = db.prepare(
    `UPDATE lane SET state = 'idle', redo = NULL, replay_next = NULL, replay_last = NULL, attempts = 0,
       since_ms = 0, due_ms = 0, outcome = NULL
     WHERE target = ? AND drain = ?`,
  );
  const aside = db.prepare(
    `INSERT INTO set_aside (target, drain, log_index, state, at_ms, attempts, outcome)
     VALUES (@target, @drain, @logIndex, @state, @now, @attempts, @outcome)
     ON CONFLICT (target, drain, log_index) DO UPDATE SET
       state = excluded.state, at_ms = excluded.at_ms, attempts = excluded.attempts, outcome = excluded.outcome`,
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
    advance(target, drain, now) {
      const lane = read.get(target, drain);
      if (lane === undefined) throw new Error(`no lane of ${drain} to ${target}`);
      const place = nextPlace(target, drain, lane);
      if (place === null) {
        rest.run(target, drain);
        busy.delete(drain);
        return;
      }
      const { logIndex, redo } = place;
      const cursor = redo === null ? logIndex : lane.cursor;
      const replay_next = redo === 'replay' ? logIndex + 1 : lane.replay_next;
      move.run({ target, drain, logIndex, cursor, redo, replay_next, now });
    },
    setAside({ target, drain, logIndex, attempts }, state, outcome, now) {
      aside.run({ target, drain, logIndex, state, now, attempts, outcome: JSON.stringify(outcome) });
    },
    forget: () => busy.clear(),
  };
}

function createNext(db: Database.Database) {
  const requeued = db
    .prepare<[string, string], number>(
      `DELETE FROM set_aside WHERE (target, drain, log_index) IN (
         SELECT target, drain, log_index FROM set_aside
         WHERE target = ? AND drain = ? AND state = 'requeued' ORDER BY log_index LIMIT 1)
       RETURNING log_index`,
    )
    .pluck();
  const between = db
    .prepare<[string, number, number], number | null>(
      'SELECT min(log_index) FROM issued WHERE drain = ? AND log_index BETWEEN ? AND ?',
    )
    .pluck();
  return (target: string, drain: string, lane: Lane): Place | null => {
    const again = requeued.get(target, drain);
    if (again !== undefined) return { logIndex: again, redo: 'requeue' };
    if (lane.replay_next !== null && lane.replay_last !== null) {
      const replayed = between.get(drain, lane.replay_next, lane.replay_last) ?? null;
      if (replayed !== null) return { logIndex: replayed, redo: 'replay' };
    }
    const next = between.get(drain, lane.cursor + 1, Number.MAX_SAFE_INTEGER) ?? null;
    return next === null ? null : { logIndex: next, redo: null };
  };
}
