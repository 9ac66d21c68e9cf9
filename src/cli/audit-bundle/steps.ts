/** Steps of deliveries in an audit bundle, and the entries that vouch for them. */
import type Database from 'better-sqlite3';
import { DELIVERY, readSteps, type StepRow, writeStep } from '../../audit/delivery-steps.ts';
import type { Run } from '../../audit/erasure.ts';

/** As a bundle holds it, beside the entry that tells of it. */
export interface Step {
  readonly event: number;
  /** Hex. */
  readonly salt: string;
  readonly text: string;
}

/** @param size entries that the checkpoint covers @returns places in the log of the entries that tell of any step of the drains */
export function deliveriesOf(db: Database.Database, drains: readonly string[], size: number): number[] {
  const events = db
    .prepare<[string], number>(
      'SELECT event FROM delivery_event WHERE drain IN (SELECT value FROM json_each(?)) AND salt IS NOT NULL ORDER BY event',
    )
    .pluck();
  const telling = createTeller(db);
  const indexes = events.all(JSON.stringify(drains)).map((event) => telling(event));
  return [...new Set(indexes)].filter((index) => index < size);
}

/** Numbers of the first and last step that entries at these places tell of: they follow along the stream without a gap. */
export function eventsBetween(db: Database.Database, first: number, last: number): Run | null {
  const told = db.prepare<[number, number], { readonly first: number | null; readonly last: number | null }>(
    `SELECT min(body ->> '$.first') AS first, max((body ->> '$.first') + json_array_length(body, '$.hashes') - 1) AS last
     FROM ledger JOIN payload USING (log_index) WHERE stream = '${DELIVERY}' AND log_index BETWEEN ? AND ?`,
  );
  const { first: from = null, last: to = null } = told.get(first, last) ?? {};
  return from === null || to === null ? null : [from, to];
}

/** Finds the entry that tells of a step: their numbers rise along the stream. */
function createTeller(db: Database.Database): (event: number) => number {
  const count = db.prepare<[], number>(`SELECT count(*) FROM ledger WHERE stream = '${DELIVERY}'`).pluck();
  const first = db
    .prepare<[number], number>(
      `SELECT body ->> '$.first' FROM ledger JOIN payload USING (log_index) WHERE stream = '${DELIVERY}' AND seq = ?`,
    )
    .pluck();
  const place = db
    .prepare<[number], number>(`SELECT log_index FROM ledger WHERE stream = '${DELIVERY}' AND seq = ?`)
    .pluck();
  const entries = count.get() ?? 0;
  return (event) => {
    let [low, high] = [1, entries];
    while (low < high) {
      const middle = Math.ceil((low + high) / 2);
      if ((first.get(middle) ?? 0) <= event) low = middle;
      else high = middle - 1;
    }
    return place.get(low) ?? 0;
  };
}

interface Row extends StepRow {
  readonly event: number;
  readonly salt: Buffer;
}

/** Reads the steps that an entry tells of, of all drains or of some. */
export function createStepReader(
  db: Database.Database,
  drains: readonly string[] | null,
): (body: string) => readonly Step[] {
  const rows = db.prepare<[object], Row>(
    `SELECT * FROM delivery_event WHERE event >= @first AND event < @first + @count
       AND (@drains IS NULL OR drain IN (SELECT value FROM json_each(@drains))) ORDER BY event`,
  );
  const chosen = drains === null ? null : JSON.stringify(drains);
  return (body) => {
    const { first, hashes } = readSteps(body);
    return rows.all({ first, count: hashes.length, drains: chosen }).map((row) => ({
      event: row.event,
      salt: row.salt.toString('hex'),
      text: writeStep(row),
    }));
  };
}
