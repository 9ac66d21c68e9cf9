/** What can be asked about deliveries. */
import type Database from 'better-sqlite3';
import type {
  Backlog,
  ByWhom,
  DeliveryCount,
  DeliveryEvent,
  DeliveryEventKind,
  DeliveryFilter,
  DeliveryName,
  DeliveryState,
  DeliveryStore,
  ListedDelivery,
  Outcome,
} from '../delivery-port.ts';
import { DUE, TO_LOOK_FOR } from './deliveries.ts';
import { createElsewhereReader, createTakenReader } from './taken.ts';

const MOST_COUNTED = 100_000;

type Reads = Pick<
  DeliveryStore,
  'taken' | 'standsElsewhere' | 'deliveries' | 'deliveryEvents' | 'deliveryCounts' | 'backlog'
>;

export interface DeliveryReader extends Reads {
  /** Whether anything can be claimed: asked without taking the write lock. */
  isDue(target: string, now: number): boolean;
}

export function createDeliveryReader(db: Database.Database): DeliveryReader {
  const any = db
    .prepare<[object], number>(`SELECT EXISTS (SELECT 1 ${DUE}) OR EXISTS (SELECT 1 ${TO_LOOK_FOR})`)
    .pluck();
  const counts = db.prepare<[], DeliveryCount>(
    `SELECT target, state, count(*) AS count FROM lane GROUP BY target, state
     UNION ALL SELECT target, state, count(*) FROM set_aside GROUP BY target, state`,
  );
  return {
    isDue: (target, now) => any.get({ target, now }) === 1,
    deliveryCounts: () => counts.all(),
    backlog: createBacklog(db),
    taken: createTakenReader(db),
    standsElsewhere: createElsewhereReader(db),
    deliveries: createList(db),
    deliveryEvents: createEventReader(db),
  };
}

function createBacklog(db: Database.Database): (target: string) => Backlog {
  const depth = db
    .prepare<[string], number>(
      `SELECT count(*) FROM (
         SELECT 1 FROM lane l JOIN issued i ON i.drain = l.drain AND (i.log_index > l.cursor OR i.log_index = l.log_index)
         WHERE l.target = ? AND l.state <> 'idle' LIMIT ${MOST_COUNTED})`,
    )
    .pluck();
  const oldest = db
    .prepare<[string], string>(
      `SELECT envelope ->> 'recorded_at' FROM ledger WHERE log_index = (
         SELECT min(log_index) FROM lane WHERE target = ? AND state <> 'idle' AND redo IS NULL)`,
    )
    .pluck();
  return (target) => {
    const recordedAt = oldest.get(target);
    return {
      depth: depth.get(target) ?? 0,
      oldestMs: recordedAt === undefined ? null : Date.parse(recordedAt),
    };
  };
}

interface ListRow {
  readonly target: string;
  readonly drain: string;
  readonly log_index: number;
  readonly state: DeliveryState;
  readonly attempts: number;
  readonly since_ms: number;
  readonly due_ms: number | null;
  readonly outcome: string | null;
}

function createList(
  db: Database.Database,
): (filter: DeliveryFilter, after: DeliveryName | null, most: number) => ListedDelivery[] {
  const chosen = `target = coalesce(@target, target) AND drain = coalesce(@drain, drain)
    AND state = coalesce(@state, state) AND (target, drain, log_index) > (@afterTarget, @afterDrain, @afterIndex)`;
  const list = db.prepare<[object], ListRow>(
    `SELECT * FROM (
       SELECT target, drain, log_index, state, attempts, since_ms, due_ms, outcome FROM lane
         WHERE state <> 'idle' AND ${chosen}
       UNION ALL
       SELECT target, drain, log_index, state, attempts, at_ms, due_ms, outcome FROM set_aside WHERE ${chosen})
     ORDER BY target, drain, log_index LIMIT @most`,
  );
  return ({ target, drain, state }, after, most) =>
    list
      .all({
        target: target ?? null,
        drain: drain ?? null,
        state: state ?? null,
        afterTarget: after?.target ?? '',
        afterDrain: after?.drain ?? '',
        afterIndex: after?.logIndex ?? -1,
        most,
      })
      .map((row) => ({
        target: row.target,
        drain: row.drain,
        logIndex: row.log_index,
        state: row.state,
        attempts: row.attempts,
        sinceMs: row.since_ms === 0 ? null : row.since_ms,
        dueMs: row.due_ms,
        outcome: parsed<Outcome>(row.outcome),
      }));
}

interface EventRow {
  readonly event: number;
  readonly at_ms: number;
  readonly target: string;
  readonly drain: string | null;
  readonly log_index: number | null;
  readonly kind: DeliveryEventKind;
  readonly attempts: number;
  readonly actor: string | null;
  readonly detail: string | null;
}

function createEventReader(db: Database.Database): DeliveryStore['deliveryEvents'] {
  const columns = 'event, at_ms, target, drain, log_index, kind, attempts, actor, detail';
  const all = db.prepare<[object], EventRow>(
    `SELECT ${columns} FROM delivery_event
     WHERE event > @after AND target = coalesce(@target, target) ORDER BY event LIMIT @most`,
  );
  const ofDrain = db.prepare<[object], EventRow>(
    `SELECT ${columns} FROM delivery_event
     WHERE drain = @drain AND event > @after AND target = coalesce(@target, target) ORDER BY event LIMIT @most`,
  );
  return ({ target, drain }, after, most) => {
    const asked = { target: target ?? null, after, most };
    const rows = drain === undefined ? all.all(asked) : ofDrain.all({ ...asked, drain });
    return rows.map(eventOf);
  };
}

const eventOf = ({
  event,
  at_ms,
  target,
  drain,
  log_index,
  kind,
  attempts,
  actor,
  detail,
}: EventRow): DeliveryEvent => ({
  event,
  atMs: at_ms,
  target,
  drain,
  logIndex: log_index,
  kind,
  attempts,
  by: parsed<ByWhom>(actor),
  outcome: parsed<Outcome>(detail),
});

/** What delivery wrote itself. */
const parsed = <T>(text: string | null): T | null => (text === null ? null : (JSON.parse(text) as T));
