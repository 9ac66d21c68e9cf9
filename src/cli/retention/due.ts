/** Which drains are due to be archived: those of one patient together, as sums over a patient stand in the entries of all of them. */
import type Database from 'better-sqlite3';
import { RETENTION, readArchived } from '../../audit/archived.ts';
import type { Book } from '../../domain/book/book.ts';
import { createBookReader } from '../../store/sqlite/books.ts';
import { recordedAtOf } from '../../store/sqlite/log-end.ts';
import { policyIn } from '../policy-in.ts';

/** All drains of a patient, or one that no patient is linked to. */
export interface Group {
  readonly patient: string | null;
  readonly drains: readonly string[];
  /** Place in the log of the newest entry that concerns them. */
  readonly newest: number;
}

export type Due =
  | { readonly kind: 'due'; readonly group: Group }
  /** Nothing has been charted since it was archived. */
  | { readonly kind: 'archived'; readonly group: Group }
  | { readonly kind: 'recent'; readonly group: Group }
  /** Old enough, and something is still open: in words. */
  | { readonly kind: 'held'; readonly group: Group; readonly why: string };

interface Limits {
  /** Recorded before this, ms since the epoch. */
  readonly beforeMs: number;
  /** Entries that a checkpoint covers. */
  readonly covered: number;
}

/** Walks all drains of the ledger, by name; what is settled without reading a chart is settled first. */
export function* dueIn(db: Database.Database, { beforeMs, covered }: Limits): Generator<Due> {
  const archived = archivedIn(db);
  const whyHeld = createHolder(db);
  const recordedAt = createTimeReader(db);
  for (const group of groupsIn(db)) {
    const { drains, newest } = group;
    if (drains.every((drain) => (archived.get(drain) ?? 0) > newest)) yield { kind: 'archived', group };
    else if (recordedAt(newest) >= beforeMs) yield { kind: 'recent', group };
    else {
      const why =
        newest < covered ? whyHeld(group) : `no checkpoint covers the newest entry of ${drains[0]} yet`;
      yield why === null ? { kind: 'due', group } : { kind: 'held', group, why };
    }
  }
}

/** Of each drain that was ever archived: how many entries of the log its newest archive covers. */
function archivedIn(db: Database.Database): Map<string, number> {
  const bodies = db
    .prepare<[], string>(
      `SELECT body FROM ledger JOIN payload USING (log_index) WHERE stream = '${RETENTION}' ORDER BY seq`,
    )
    .pluck();
  const archived = bodies.all().map(readArchived);
  return new Map(archived.flatMap(({ drains, covered }) => drains.map((drain) => [drain, covered] as const)));
}

function createTimeReader(db: Database.Database): (logIndex: number) => number {
  const envelope = db.prepare<[number], string>('SELECT envelope FROM ledger WHERE log_index = ?').pluck();
  return (logIndex) => Date.parse(recordedAtOf(envelope.get(logIndex) ?? '{}'));
}

function groupsIn(db: Database.Database): Group[] {
  const rows = db
    .prepare<[], { readonly patient: string | null; readonly drains: string }>(
      `SELECT patient_key AS patient, json_group_array(drain ORDER BY drain) AS drains FROM drain
       GROUP BY coalesce('p' || patient_key, 'd' || drain) ORDER BY min(drain)`,
    )
    .all();
  const newest = db
    .prepare<[object], number>(
      `SELECT max(log_index) FROM (
         SELECT max(log_index) AS log_index FROM json_each(@drains) JOIN ledger ON stream = value GROUP BY value
         UNION ALL SELECT log_index FROM json_each(@drains) JOIN device_chain ON drain = value
           JOIN device_chain_entry USING (chain))`,
    )
    .pluck();
  return rows.map(({ patient, drains }) => ({
    patient,
    drains: JSON.parse(drains) as string[],
    newest: newest.get({ drains }) ?? 0,
  }));
}

/** Says what of a group is still open; null where nothing is. With all drains out no advisory stands on any of them. */
function createHolder(db: Database.Database): (group: Group) => string | null {
  const policy = policyIn(db);
  const readBooks = createBookReader(db, () => policy);
  const whyUndelivered = createDeliveryLook(db);
  const unmatched = createUnmatchedLook(db);
  return ({ drains }) => {
    for (const drain of drains) {
      const book = readBooks(drain, null).get(drain);
      if (book === undefined || book.view.removedMs === null) return `${drain} is not charted as removed`;
      const why = whyUndelivered(drain);
      if (why !== null) return `${drain} ${why}`;
      const count = unmatched(book);
      if (count > 0) return `${drain} was on a device whose readings match no drain: ${count} of them`;
    }
    return null;
  };
}

function createDeliveryLook(db: Database.Database): (drain: string) => string | null {
  const lane = db
    .prepare<[string], string>(`SELECT target FROM lane WHERE drain = ? AND state <> 'idle' ORDER BY target`)
    .pluck();
  const aside = db.prepare<[string], { readonly target: string; readonly state: string }>(
    `SELECT target, state FROM set_aside WHERE drain = ? AND state <> 'skipped' ORDER BY target`,
  );
  return (drain) => {
    const target = lane.get(drain);
    if (target !== undefined) return `waits to be delivered to ${target}`;
    const left = aside.get(drain);
    return left === undefined
      ? null
      : `has a delivery to ${left.target} that is ${left.state}: requeue it, skip it, or wait`;
  };
}

/** Counts what was read, while the drain was in place, on a device that was ever on it, and counts for no drain. */
function createUnmatchedLook(db: Database.Database): (book: Book) => number {
  const count = db
    .prepare<[object], number>(
      `SELECT count(*) FROM device_of_drain JOIN device_chain AS chain USING (device)
       WHERE device_of_drain.drain = @drain AND chain.drain IS NULL AND read_ms BETWEEN @from AND @to`,
    )
    .pluck();
  return ({ drain, view }) => count.get({ drain, from: view.placedMs, to: view.removedMs }) ?? 0;
}
