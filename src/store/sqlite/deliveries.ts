/**
 * What is to be sent to each target: claimed, sent by somebody else, settled.
 *
 * Each drain has one lane to each target and one place in it, so a correction never overtakes what it corrects and at
 * most one request is under way for each drain. A claim lapses when its `due_ms` passes: what a killed process had
 * under way is claimed again, as uncertain.
 */
import type Database from 'better-sqlite3';
import type { Delivery, Settlement } from '../delivery-port.ts';
import type { EventWriter } from './delivery-events.ts';
import { createFrameReader } from './frames.ts';
import type { Lanes } from './lanes.ts';
import { createTakenWriter } from './taken.ts';

interface Row {
  readonly drain: string;
  readonly log_index: number;
  readonly state: string;
  readonly redo: Delivery['redo'];
  readonly attempts: number;
  readonly since_ms: number;
  readonly accepted: number;
  readonly resources: string;
}

export const DUE = `FROM lane INDEXED BY lane_due WHERE target = @target AND state <> 'idle' AND due_ms <= @now`;
/** What was accepted and is to be looked for, on drains that nothing else is under way on. */
export const TO_LOOK_FOR = `FROM set_aside s INDEXED BY set_aside_due JOIN lane l USING (target, drain)
  WHERE s.target = @target AND s.state = 'accepted' AND s.due_ms <= @now AND l.state = 'idle'`;

export interface DeliveryWriter {
  claim(target: string, now: number, lapses: number, most: number, except: readonly string[]): Delivery[];
  extend(delivery: Delivery, lapses: number): boolean;
  settle(delivery: Delivery, settlement: Settlement, now: number): void;
}

export function createDeliveryWriter(db: Database.Database, lanes: Lanes, note: EventWriter): DeliveryWriter {
  const due = db.prepare<[object], Row>(
    `SELECT l.drain, l.log_index, l.state, l.redo, l.attempts, l.since_ms, l.accepted, i.resources
     FROM (SELECT drain, log_index, state, redo, attempts, since_ms, accepted, due_ms ${DUE}
             AND drain NOT IN (SELECT value FROM json_each(@except)) ORDER BY due_ms LIMIT @most) l
     JOIN issued i USING (drain, log_index)`,
  );
  const toLookFor = db.prepare<[object], string>(`SELECT DISTINCT drain ${TO_LOOK_FOR} LIMIT @most`).pluck();
  const textsIn = createFrameReader(db);
  const claim = db.prepare(
    `UPDATE lane SET state = 'sending', attempts = attempts + 1, since_ms = ?, due_ms = ?
     WHERE target = ? AND drain = ?`,
  );
  const extend = db.prepare('UPDATE lane SET due_ms = ? WHERE target = ? AND drain = ?');
  const held = db
    .prepare<[string, string, number, number], number>(
      `SELECT 1 FROM lane WHERE target = ? AND drain = ? AND log_index = ? AND state = 'sending' AND attempts = ?`,
    )
    .pluck();
  const wait = db.prepare(
    'UPDATE lane SET state = ?, due_ms = ?, outcome = ? WHERE target = ? AND drain = ?',
  );
  const take = createTakenWriter(db);
  const isHeld = ({ target, drain, logIndex, attempts }: Delivery): boolean =>
    held.get(target, drain, logIndex, attempts) !== undefined;

  return {
    claim(target, now, lapses, most, except) {
      for (const drain of toLookFor.all({ target, now, most })) lanes.advance(target, drain, now);
      return due.all({ target, now, most, except: JSON.stringify(except) }).map((row) => {
        const delivery = deliveryOf(target, row, now, textsIn(row.resources));
        claim.run(delivery.sinceMs, lapses, target, row.drain);
        note({ ...delivery, kind: row.redo === 'look' ? 'looking' : 'sending', atMs: now });
        return delivery;
      });
    },
    extend(delivery, lapses) {
      if (!isHeld(delivery)) return false;
      extend.run(lapses, delivery.target, delivery.drain);
      return true;
    },
    settle(delivery, settlement, now) {
      if (!isHeld(delivery)) return;
      const { target, drain } = delivery;
      const { state, outcome } = settlement;
      take(target, drain, settlement.taken);
      note({ ...delivery, kind: state, atMs: now, outcome });
      if (state === 'waiting' || state === 'unknown')
        wait.run(state, settlement.dueMs, JSON.stringify(outcome), target, drain);
      else {
        if (state !== 'delivered') {
          const { accepted } = delivery;
          const aside = settlement.state === 'accepted' ? settlement : { state, accepted };
          lanes.setAside(delivery, aside, outcome, now);
        }
        lanes.advance(target, drain, now);
      }
    },
  };
}

function deliveryOf(target: string, row: Row, now: number, texts: readonly string[]): Delivery {
  return {
    target,
    drain: row.drain,
    logIndex: row.log_index,
    attempts: row.attempts + 1,
    sinceMs: row.since_ms === 0 ? now : row.since_ms,
    uncertain: row.state !== 'waiting',
    redo: row.redo,
    accepted: row.accepted,
    texts,
  };
}
