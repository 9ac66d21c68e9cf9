/** Drains that are closed and sealed together: those of one patient, as sums over a patient stand in the entries of all of them. */
import type Database from 'better-sqlite3';
import type { Book } from '../domain/book/book.ts';
import { createBookReader } from '../store/sqlite/books.ts';
import { policyIn } from './policy-in.ts';

/** All drains of a patient, or one that no patient is linked to. */
export interface Group {
  readonly patient: string | null;
  readonly drains: readonly string[];
  /** Place in the log of the newest entry that concerns them. */
  readonly newest: number;
}

export function groupsIn(db: Database.Database): Group[] {
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
export function createHolder(db: Database.Database): (group: Group) => string | null {
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
