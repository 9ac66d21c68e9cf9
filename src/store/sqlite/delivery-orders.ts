/** What staff have done to deliveries: sent again, skipped, replayed. */
import type Database from 'better-sqlite3';
import type { ByWhom, DeliveryName, Period, Requeued } from '../delivery-port.ts';
import type { EventWriter } from './delivery-events.ts';
import type { Lanes } from './lanes.ts';
import { createLogEnd, createPlaceFinder } from './log-end.ts';

export interface DeliveryOrders {
  requeue(filter: Requeued, by: ByWhom, now: number): number;
  skip(delivery: DeliveryName, by: ByWhom, now: number): boolean;
  replay(target: string, drain: string | null, period: Period, by: ByWhom, now: number): number;
}

export function createDeliveryOrders(db: Database.Database, lanes: Lanes, note: EventWriter): DeliveryOrders {
  const wakeIfIdle = createWaker(db, lanes);
  return {
    requeue: createRequeue(db, wakeIfIdle, note),
    skip: createSkip(db, lanes, note),
    replay: createReplay(db, wakeIfIdle, note),
  };
}

function createWaker(db: Database.Database, lanes: Lanes) {
  const isIdle = db
    .prepare<[string, string], number>(`SELECT 1 FROM lane WHERE target = ? AND drain = ? AND state = 'idle'`)
    .pluck();
  return (target: string, drain: string, now: number): void => {
    if (isIdle.get(target, drain) !== undefined) lanes.advance(target, drain, now);
  };
}

type Waker = ReturnType<typeof createWaker>;

function createRequeue(
  db: Database.Database,
  wakeIfIdle: Waker,
  note: EventWriter,
): DeliveryOrders['requeue'] {
  const requeue = db.prepare<[object], { target: string; drain: string; log_index: number }>(
    `UPDATE set_aside SET state = 'requeued', at_ms = @now, accepted = 0, due_ms = NULL
     WHERE state <> 'requeued' AND (@logIndex IS NOT NULL OR state = 'dead')
       AND target = coalesce(@target, target) AND drain = coalesce(@drain, drain)
       AND log_index = coalesce(@logIndex, log_index)
     RETURNING target, drain, log_index`,
  );
  return ({ target, drain, logIndex }, by, now) => {
    const rows = requeue.all({
      target: target ?? null,
      drain: drain ?? null,
      logIndex: logIndex ?? null,
      now,
    });
    for (const row of rows) {
      note({
        kind: 'requeued',
        atMs: now,
        target: row.target,
        drain: row.drain,
        logIndex: row.log_index,
        by,
      });
    }
    for (const row of rows) wakeIfIdle(row.target, row.drain, now);
    return rows.length;
  };
}

function createSkip(db: Database.Database, lanes: Lanes, note: EventWriter): DeliveryOrders['skip'] {
  const waiting = db.prepare<[string, string, number], { attempts: number; due_ms: number }>(
    `SELECT attempts, due_ms FROM lane
     WHERE target = ? AND drain = ? AND log_index = ? AND state IN ('waiting', 'unknown')`,
  );
  const dead = db.prepare(
    `UPDATE set_aside SET state = 'skipped' WHERE target = ? AND drain = ? AND log_index = ? AND state = 'dead'`,
  );
  return (delivery, by, now) => {
    const { target, drain, logIndex } = delivery;
    const lane = waiting.get(target, drain, logIndex);
    const isDead = lane === undefined && dead.run(target, drain, logIndex).changes > 0;
    if (lane === undefined && !isDead) return false;
    note({ ...delivery, kind: 'skipped', attempts: lane?.attempts ?? 0, atMs: now, by });
    if (lane !== undefined) {
      const aside = { state: 'skipped', accepted: 0 } as const;
      lanes.setAside({ ...delivery, attempts: lane.attempts }, aside, { why: by.reason }, now);
      // The target may still be acting on the last attempt: what follows waits as long as that would have.
      lanes.advance(target, drain, Math.max(now, lane.due_ms));
    }
    return true;
  };
}

function createReplay(db: Database.Database, wakeIfIdle: Waker, note: EventWriter): DeliveryOrders['replay'] {
  const [endOfLog, placeAt] = [createLogEnd(db), createPlaceFinder(db)];
  const drains = db
    .prepare<[object], string>(
      `SELECT drain FROM drain d WHERE drain = coalesce(@drain, drain) AND EXISTS (
         SELECT 1 FROM issued WHERE drain = d.drain AND log_index BETWEEN @first AND @last)`,
    )
    .pluck();
  const order = db.prepare(
    `INSERT INTO lane (target, drain, log_index, cursor, state, attempts, since_ms, due_ms, replay_next, replay_last)
     SELECT @target, @drain, max(log_index), max(log_index), 'idle', 0, 0, 0, @first, @last
       FROM issued WHERE drain = @drain
     ON CONFLICT (target, drain) DO UPDATE SET
       replay_next = min(excluded.replay_next, coalesce(replay_next, excluded.replay_next)),
       replay_last = max(excluded.replay_last, coalesce(replay_last, excluded.replay_last))`,
  );
  return (target, drain, { fromMs, toMs }, by, now) => {
    const size = endOfLog().index + 1;
    const [first, last] = [placeAt(fromMs, size), placeAt(toMs, size) - 1];
    const found = drains.all({ drain, first, last });
    const why = `recorded from ${new Date(fromMs).toISOString()} until ${new Date(toMs).toISOString()}`;
    note({ kind: 'replay', atMs: now, target, ...(drain === null ? {} : { drain }), by, outcome: { why } });
    for (const each of found) {
      order.run({ target, drain: each, first, last });
      wakeIfIdle(target, each, now);
    }
    return found.length;
  };
}
