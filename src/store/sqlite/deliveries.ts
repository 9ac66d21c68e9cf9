/** What is to be sent to each target: claimed, sent by somebody else, settled. */
import type Database from 'better-sqlite3';
import type { Delivery, DeliveryCount, Settlement } from '../port.ts';

interface Row {
  readonly drain: string;
  readonly log_index: number;
  readonly attempts: number;
  readonly resources: string;
}

/**
 * Only the first open delivery of a drain may be claimed, so a correction never overtakes what it corrects and at most
 * one request is under way for each drain. A claim lapses when its `due_ms` passes: what a killed process had under way
 * is claimed again.
 */
const CLAIMABLE = `
  SELECT d.drain, d.log_index, d.attempts, i.resources
  FROM (SELECT drain, min(log_index) AS log_index
        FROM delivery INDEXED BY delivery_open
        WHERE target = @target AND state IN ('waiting', 'sending')
        GROUP BY drain) first
  JOIN delivery d ON d.target = @target AND d.drain = first.drain AND d.log_index = first.log_index
  JOIN issued i ON i.log_index = d.log_index AND i.drain = d.drain
  WHERE d.due_ms <= @now
  LIMIT @most`;

export function createDeliveries(db: Database.Database) {
  const claimable = db.prepare<[object], Row>(CLAIMABLE);
  const claim = db.prepare(
    `UPDATE delivery SET state = 'sending', attempts = attempts + 1, due_ms = ?
     WHERE target = ? AND drain = ? AND log_index = ?`,
  );
  const settle = db.prepare(
    `UPDATE delivery SET state = ?, due_ms = ?, outcome = ?
     WHERE target = ? AND drain = ? AND log_index = ? AND state = 'sending' AND attempts = ?`,
  );

  return {
    claim(target: string, now: number, lapses: number, most: number): Delivery[] {
      return claimable.all({ target, now, most }).map(({ drain, log_index, attempts, resources }) => {
        claim.run(lapses, target, drain, log_index);
        return { target, drain, logIndex: log_index, attempts: attempts + 1, texts: resources.split('\n') };
      });
    },
    /** Does nothing when the claim has lapsed and the delivery is somebody else's by now. */
    settle({ target, drain, logIndex, attempts }: Delivery, settlement: Settlement): void {
      const due = settlement.state === 'waiting' ? settlement.dueMs : 0;
      const outcome = settlement.state === 'delivered' ? null : settlement.outcome;
      settle.run(settlement.state, due, outcome, target, drain, logIndex, attempts);
    },
  };
}

export function createDeliveryReader(db: Database.Database) {
  const any = db.prepare<[object], Row>(CLAIMABLE.replace('@most', '1'));
  const counts = db.prepare<[], DeliveryCount>(
    'SELECT target, state, count(*) AS count FROM delivery GROUP BY target, state ORDER BY target, state',
  );
  return {
    /** Whether anything can be claimed: asked without taking the write lock. */
    isDue: (target: string, now: number): boolean => any.get({ target, now }) !== undefined,
    counts: (): DeliveryCount[] => counts.all(),
  };
}
