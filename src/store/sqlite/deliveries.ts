/**
 * What is to be sent to each target: claimed, sent by somebody else, settled.
 *
 * Each drain has one lane to each target and one place in it, so a correction never overtakes what it corrects and at
 * most one request is under way for each drain. A claim lapses when its `due_ms` passes: what a killed process had
 * under way is claimed again.
 */
import type Database from 'better-sqlite3';
import type { Delivery, DeliveryCount, Settlement } from '../port.ts';
import { createFrameReader } from './frames.ts';

interface Row {
  readonly drain: string;
  readonly log_index: number;
  readonly attempts: number;
  readonly resources: string;
}

const DUE = `FROM lane INDEXED BY lane_due WHERE target = @target AND state <> 'idle' AND due_ms <= @now`;

export function createDeliveries(db: Database.Database) {
  const due = db.prepare<[object], Row>(
    `SELECT l.drain, l.log_index, l.attempts, i.resources
     FROM (SELECT drain, log_index, attempts, due_ms ${DUE} ORDER BY due_ms LIMIT @most) l
     JOIN issued i USING (drain, log_index)`,
  );
  const textsIn = createFrameReader(db);
  const claim = db.prepare(
    `UPDATE lane SET state = 'sending', attempts = attempts + 1, due_ms = ? WHERE target = ? AND drain = ?`,
  );
  const held = db
    .prepare<[string, string, number, number], number>(
      `SELECT 1 FROM lane WHERE target = ? AND drain = ? AND log_index = ? AND state = 'sending' AND attempts = ?`,
    )
    .pluck();
  const wait = db.prepare(
    `UPDATE lane SET state = 'waiting', due_ms = ?, outcome = ? WHERE target = ? AND drain = ?`,
  );
  const next = db
    .prepare<[string, number], number | null>(
      'SELECT min(log_index) FROM issued WHERE drain = ? AND log_index > ?',
    )
    .pluck();
  const advance = db.prepare(
    `UPDATE lane SET log_index = ?, state = ?, attempts = 0, due_ms = 0, outcome = NULL WHERE target = ? AND drain = ?`,
  );
  const bury = db.prepare('INSERT INTO dead_letter (target, drain, log_index, outcome) VALUES (?, ?, ?, ?)');

  return {
    claim(target: string, now: number, lapses: number, most: number): Delivery[] {
      return due.all({ target, now, most }).map(({ drain, log_index, attempts, resources }) => {
        claim.run(lapses, target, drain);
        return { target, drain, logIndex: log_index, attempts: attempts + 1, texts: textsIn(resources) };
      });
    },
    /** Does nothing when the claim has lapsed and the delivery is somebody else's by now. */
    settle({ target, drain, logIndex, attempts }: Delivery, settlement: Settlement): void {
      if (held.get(target, drain, logIndex, attempts) === undefined) return;
      if (settlement.state === 'waiting') {
        wait.run(settlement.dueMs, settlement.outcome, target, drain);
        return;
      }
      if (settlement.state === 'dead') bury.run(target, drain, logIndex, settlement.outcome);
      const following = next.get(drain, logIndex) ?? null;
      advance.run(following ?? logIndex, following === null ? 'idle' : 'waiting', target, drain);
    },
  };
}

export function createDeliveryReader(db: Database.Database) {
  const any = db.prepare<[object], number>(`SELECT 1 ${DUE} LIMIT 1`).pluck();
  const counts = db.prepare<[], DeliveryCount>(
    `SELECT target, state, count(*) AS count FROM lane GROUP BY target, state
     UNION ALL SELECT target, 'dead', count(*) FROM dead_letter GROUP BY target`,
  );
  return {
    /** Whether anything can be claimed: asked without taking the write lock. */
    isDue: (target: string, now: number): boolean => any.get({ target, now }) !== undefined,
    counts: (): DeliveryCount[] => counts.all(),
  };
}
