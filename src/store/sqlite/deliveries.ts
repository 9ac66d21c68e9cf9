/**
 * What is to be sent to each target: claimed, sent by somebody else, settled.
 *
 * Each drain has one lane to each target and one place in it, so a correction never overtakes what it corrects and at
 * most one request is under way for each drain. A claim lapses when its `due_ms` passes: what a killed process had
 * under way is claimed again, as uncertain. What waits behind the first may be claimed with it, to share its Bundle.
 */
import type Database from 'better-sqlite3';
import type { Framed } from '../../json/frame.ts';
import type { Claimed, Delivery, Settled, StartBundle } from '../delivery-port.ts';
import type { EventWriter } from './delivery-events.ts';
import { createFramedReader } from './frames.ts';
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
  readonly doubt_to: number;
  readonly resources: string;
}

export const DUE = `FROM lane INDEXED BY lane_due WHERE target = @target AND state <> 'idle' AND due_ms <= @now`;
/** What was accepted and is to be looked for, on drains that nothing else is under way on. */
export const TO_LOOK_FOR = `FROM set_aside s INDEXED BY set_aside_due JOIN lane l USING (target, drain)
  WHERE s.target = @target AND s.state = 'accepted' AND s.due_ms <= @now AND l.state = 'idle'`;

export interface DeliveryWriter {
  claim(
    target: string,
    now: number,
    lapses: number,
    most: number,
    except: readonly string[],
    startBundle: StartBundle | null,
  ): Claimed[];
  extend(delivery: Delivery, lapses: number): boolean;
  settle(settled: readonly Settled[], now: number): void;
}

export function createDeliveryWriter(db: Database.Database, lanes: Lanes, note: EventWriter): DeliveryWriter {
  const due = db.prepare<[object], Row>(
    `SELECT l.drain, l.log_index, l.state, l.redo, l.attempts, l.since_ms, l.accepted, l.doubt_to, i.resources
     FROM (SELECT drain, log_index, state, redo, attempts, since_ms, accepted, doubt_to, due_ms ${DUE}
             AND drain NOT IN (SELECT value FROM json_each(@except)) ORDER BY due_ms LIMIT @most) l
     JOIN issued i USING (drain, log_index)`,
  );
  const toLookFor = db.prepare<[object], string>(`SELECT DISTINCT drain ${TO_LOOK_FOR} LIMIT @most`).pluck();
  const framedIn = createFramedReader(db);
  const sharing = createSharing(db, framedIn);
  const claim = db.prepare(
    `UPDATE lane SET state = 'sending', attempts = attempts + 1, since_ms = ?, due_ms = ?
     WHERE target = ? AND drain = ?`,
  );
  const share = db.prepare('UPDATE lane SET shared_to = ?, doubt_to = ? WHERE target = ? AND drain = ?');
  const extend = db.prepare('UPDATE lane SET due_ms = ? WHERE target = ? AND drain = ?');
  const held = db
    .prepare<[string, string, number, number], number>(
      `SELECT 1 FROM lane WHERE target = ? AND drain = ? AND log_index = ? AND state = 'sending' AND attempts = ?`,
    )
    .pluck();
  const wait = db.prepare(
    'UPDATE lane SET state = ?, due_ms = ?, outcome = ? WHERE target = ? AND drain = ?',
  );
  const made = db.prepare(
    `DELETE FROM set_aside WHERE target = ? AND drain = ? AND log_index = ? AND state IN ('dead', 'skipped')`,
  );
  const take = createTakenWriter(db);
  const isHeld = ({ target, drain, logIndex, attempts }: Delivery): boolean =>
    held.get(target, drain, logIndex, attempts) !== undefined;

  function claimOne(first: Delivery, lapses: number, now: number, startBundle: StartBundle | null): Claimed {
    const { target, drain, redo } = first;
    claim.run(first.sinceMs, lapses, target, drain);
    const isNew = first.attempts === 1 && redo === null && !first.uncertain;
    const behind = isNew && startBundle !== null ? sharing(first, startBundle) : [];
    const last = behind.at(-1);
    // In doubt from now on, so that they are if nobody is left to settle them.
    if (last !== undefined) share.run(last.logIndex, last.logIndex, target, drain);
    const kind = redo === 'look' ? 'looking' : 'sending';
    for (const each of [first, ...behind]) note({ ...each, kind, atMs: now });
    return { ...first, behind };
  }

  return {
    claim(target, now, lapses, most, except, startBundle) {
      for (const drain of toLookFor.all({ target, now, most })) lanes.advance(target, drain, now);
      return due
        .all({ target, now, most, except: JSON.stringify(except) })
        .map((row) => deliveryOf(target, row, now, framedIn(row.resources)))
        .map((first) => claimOne(first, lapses, now, startBundle));
    },
    extend(delivery, lapses) {
      if (!isHeld(delivery)) return false;
      extend.run(lapses, delivery.target, delivery.drain);
      return true;
    },
    settle(settled, now) {
      const [first, last] = [settled[0], settled.at(-1)];
      if (first === undefined || last === undefined || !isHeld(first.delivery)) return;
      const { target, drain, redo } = first.delivery;
      take(
        target,
        drain,
        settled.flatMap(({ settlement }) => settlement.taken),
      );
      for (const { delivery, settlement } of settled)
        note({ ...delivery, kind: settlement.state, atMs: now, outcome: settlement.outcome });
      const { settlement } = first;
      if (settlement.state === 'waiting' || settlement.state === 'unknown') {
        wait.run(settlement.state, settlement.dueMs, JSON.stringify(settlement.outcome), target, drain);
        if (last !== first && settlement.state === 'waiting')
          share.run(last.delivery.logIndex, NONE, target, drain);
        return;
      }
      for (const each of settled) setAside(each, now);
      lanes.advance(target, drain, now, redo === null ? last.delivery.logIndex : NONE);
    },
  };

  function setAside({ delivery, settlement }: Settled, now: number): void {
    const { state, outcome } = settlement;
    // A replay brought it after all.
    if (state === 'delivered' && delivery.redo === 'replay')
      made.run(delivery.target, delivery.drain, delivery.logIndex);
    if (state === 'delivered' || state === 'waiting' || state === 'unknown') return;
    const aside = state === 'accepted' ? settlement : { state, accepted: delivery.accepted };
    lanes.setAside(delivery, aside, outcome, now);
  }
}

/** Before every place in the ledger. */
const NONE = -1;

const MOST_SHARING = 16;

/** What waits behind the first of a drain, as far as it goes into one Bundle with it. */
function createSharing(db: Database.Database, framedIn: (stored: string) => Framed[]) {
  const behind = db.prepare<[string, number], { log_index: number; resources: string }>(
    `SELECT log_index, resources FROM issued WHERE drain = ? AND log_index > ? ORDER BY log_index
     LIMIT ${MOST_SHARING - 1}`,
  );
  return (first: Delivery, startBundle: StartBundle): Delivery[] => {
    const goesIn = startBundle();
    if (!goesIn(first.issued)) return [];
    const found: Delivery[] = [];
    for (const { log_index, resources } of behind.all(first.drain, first.logIndex)) {
      const issued = framedIn(resources);
      if (!goesIn(issued)) break;
      found.push({ ...first, logIndex: log_index, issued });
    }
    return found;
  };
}

function deliveryOf(target: string, row: Row, now: number, issued: readonly Framed[]): Delivery {
  return {
    target,
    drain: row.drain,
    logIndex: row.log_index,
    attempts: row.attempts + 1,
    sinceMs: row.since_ms === 0 ? now : row.since_ms,
    uncertain: row.state !== 'waiting',
    shared: row.redo === null && row.log_index <= row.doubt_to,
    redo: row.redo,
    accepted: row.accepted,
    issued,
  };
}
