/** Every step of every delivery, held against the entries that vouch for them. */
import type Database from 'better-sqlite3';
import { DELIVERY, readSteps, type StepRow, stepHash, writeStep } from '../../audit/delivery-steps.ts';
import type { Erasures } from '../../audit/erasure.ts';
import { type Finding, type LogRow, placeOf } from '../../audit/log-check.ts';

interface Row extends StepRow {
  readonly event: number;
  readonly salt: Buffer | null;
}

export interface StepCheck {
  /** Takes the entries of the log in their order, and looks at those that vouch for steps. */
  take(row: LogRow): Finding | null;
  /** What no entry vouches for, though one had to. */
  rest(): Finding | null;
  remarks(): readonly string[];
  close(): void;
}

export function createStepCheck(db: Database.Database, erasures: Erasures): StepCheck {
  const isListed = createListing(db);
  const steps = db.prepare<[], Row>('SELECT * FROM delivery_event ORDER BY event').iterate();
  let next = steps.next();
  /** Steps from before any entry vouched for them: they were written without a salt. */
  let older = 0;
  for (; next.done !== true && isOlder(next.value, older + 1); next = steps.next()) older += 1;
  let [due, proven, erased] = [older + 1, 0, 0];

  function check(hash: string, { log_index }: LogRow): Finding | null {
    const entry = `entry ${log_index}`;
    const number = due;
    due += 1;
    const by = erasures.step(number);
    // A tombstone speaks only of what stands before it.
    if (by !== undefined && by > log_index) {
      erased += 1;
      if (next.done === true || next.value.event > number) return null;
      const what = `it is here, and entry ${by} says that it was erased`;
      return { kind: 'tampered', where: stepOf(number), what };
    }
    if (next.done === true || next.value.event > number)
      return { kind: 'incomplete', where: stepOf(number), what: `it is missing: ${entry} tells of it` };
    const row = next.value;
    if (row.event < number) return untold(row);
    const found = row.salt === null ? '' : stepHash(row.salt, writeStep(row));
    if (found === hash) {
      proven += 1;
      next = steps.next();
      return null;
    }
    const place = isListed(found);
    const what = place === null ? `it is not as ${entry} tells it` : `what stands there is ${place}`;
    return { kind: 'tampered', where: stepOf(row.event), what };
  }

  return {
    take(row) {
      if (row.stream !== DELIVERY || row.body === null) return null;
      const { first, hashes } = readSteps(row.body);
      if (first !== due)
        return {
          kind: 'tampered',
          where: placeOf(row),
          what: `it tells of ${stepOf(first)}, and ${due} is next`,
        };
      for (const hash of hashes) {
        const finding = check(hash, row);
        if (finding !== null) return finding;
      }
      return null;
    },
    rest: () => (next.done === true ? null : untold(next.value)),
    remarks: () => [
      ...(proven === 0 ? [] : [`${proven} delivery events, from number ${older + 1} on`]),
      ...(erased === 0 ? [] : [`${erased} delivery events were lawfully erased`]),
      ...(older === 0 ? [] : [`${older} delivery events are from before the log vouched for any`]),
    ],
    close: () => steps.return?.(),
  };
}

const isOlder = ({ event, salt }: Row, due: number): boolean => salt === null && event === due;

const untold = ({ event }: Row): Finding => ({
  kind: 'tampered',
  where: stepOf(event),
  what: 'no entry tells of it',
});

const stepOf = (event: number): string => `delivery event ${event}`;

/** Which step of which entry a hash is, in words; asked only when something is wrong. */
function createListing(db: Database.Database): (hash: string) => string | null {
  const listing = db.prepare<[string], { readonly log_index: number; readonly place: number }>(
    `SELECT log_index, body ->> '$.first' + hash.key AS place
     FROM ledger JOIN payload USING (log_index), json_each(body, '$.hashes') AS hash
     WHERE stream = '${DELIVERY}' AND hash.value = ?`,
  );
  return (hash) => {
    const found = listing.get(hash);
    return found === undefined ? null : `${stepOf(found.place)} of entry ${found.log_index}`;
  };
}
