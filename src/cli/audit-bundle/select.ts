/** Which entries an audit bundle is about. */
import type Database from 'better-sqlite3';
import { RETENTION } from '../../audit/archived.ts';
import { createPlaceFinder } from '../../store/sqlite/log-end.ts';
import { createErasureReader } from '../../store/sqlite/tombstones.ts';
import { ofDevices } from './select-devices.ts';
import { erasuresOf } from './select-erasures.ts';
import { deliveriesOf, eventsBetween } from './steps.ts';

export type Wanted =
  | { readonly drain: string }
  /** As the drain names it: its reference, or system and value of its identifier. */
  | { readonly patient: string }
  /** Recorded from (included) to (excluded), RFC 3339 in UTC. */
  | { readonly from: string; readonly to: string };

export interface Selection {
  /** What the manifest says of it. */
  readonly about: object;
  /** Places in the log, rising. */
  readonly indexes: readonly number[];
  /** Whose steps of delivery; null: all that the entries tell of. */
  readonly drains: readonly string[] | null;
}

/** What every bundle holds: who signs the log, and what values depend on. Neither says anything of a patient. */
const OF_ALL = ['log', 'configuration'];

/** @param size entries that the checkpoint covers @throws {Error} where there is nothing of that */
export function select(db: Database.Database, wanted: Wanted, size: number): Selection {
  if ('from' in wanted) return ofPeriod(db, wanted, size);
  const drains = 'drain' in wanted ? [wanted.drain] : drainsOf(db, wanted.patient);
  const known = drains.filter((drain) => isDrain(db, drain));
  if (known.length === 0) throw new Error(whyNone(db, wanted));
  const own = [
    ...indexesOf(db, [...OF_ALL, ...known], size),
    ...accessesTo(db, { drains: known, patient: 'patient' in wanted ? wanted.patient : null }, size),
    ...ofDevices(db, known, size),
    ...deliveriesOf(db, known, size),
    ...archivesOf(db, known, size),
  ];
  const erasures = erasuresOf(db, { indexes: own, events: null }, size);
  const indexes = [...own, ...erasures].sort((a, b) => a - b);
  return { about: { ...wanted, drains: known }, indexes, drains: known };
}

function whyNone(
  db: Database.Database,
  wanted: { readonly drain: string } | { readonly patient: string },
): string {
  if ('patient' in wanted) return `there is no such patient: ${wanted.patient}`;
  const erasure = createErasureReader(db)(wanted.drain);
  return erasure === null
    ? `there is no such drain: ${wanted.drain}`
    : `${wanted.drain} was erased, as entry ${erasure.logIndex} says: what is left of it is in bundles of periods`;
}

const drainsOf = (db: Database.Database, patient: string): string[] =>
  db
    .prepare<[string], string>('SELECT drain FROM drain WHERE patient_key = ? ORDER BY drain')
    .pluck()
    .all(patient);

const isDrain = (db: Database.Database, drain: string): boolean =>
  db.prepare('SELECT 1 FROM drain WHERE drain = ?').get(drain) !== undefined;

const indexesOf = (db: Database.Database, streams: readonly string[], size: number): number[] =>
  db
    .prepare<[string, number], number>(
      `SELECT log_index FROM ledger WHERE stream IN (SELECT value FROM json_each(?)) AND log_index < ? ORDER BY log_index`,
    )
    .pluck()
    .all(JSON.stringify(streams), size);

/** Who accessed any of the drains, or asked for the patient: of each client's day what was about them, and nothing of others. */
const accessesTo = (
  db: Database.Database,
  { drains, patient }: { readonly drains: readonly string[]; readonly patient: string | null },
  size: number,
): number[] =>
  db
    .prepare<[number, string, string | null], number>(
      `SELECT log_index FROM ledger JOIN payload USING (log_index)
       WHERE stream >= 'access.' AND stream < 'access/' AND log_index < ? AND (
         EXISTS (SELECT 1 FROM json_each(body, '$.drains') WHERE value IN (SELECT value FROM json_each(?))) OR
         coalesce(body ->> '$.patient.reference',
           (body ->> '$.patient.identifier.system') || '|' || (body ->> '$.patient.identifier.value')) = ?)`,
    )
    .pluck()
    .all(size, JSON.stringify(drains), patient);

/** What the log says of earlier archives of the drains. */
const archivesOf = (db: Database.Database, drains: readonly string[], size: number): number[] =>
  db
    .prepare<[number, string], number>(
      `SELECT log_index FROM ledger JOIN payload USING (log_index)
       WHERE stream = '${RETENTION}' AND log_index < ? AND EXISTS (
         SELECT 1 FROM json_each(body, '$.drains') WHERE value IN (SELECT value FROM json_each(?)))`,
    )
    .pluck()
    .all(size, JSON.stringify(drains));

function ofPeriod(
  db: Database.Database,
  { from, to }: { from: string; to: string },
  size: number,
): Selection {
  const placeAt = createPlaceFinder(db);
  const [first, end] = [placeAt(Date.parse(from), size), placeAt(Date.parse(to), size)];
  if (first >= end) throw new Error(`nothing was recorded from ${from} to ${to} that a checkpoint covers`);
  const last = end - 1;
  const notices = indexesOf(db, ['log'], size);
  const period = Array.from({ length: end - first }, (_, n) => first + n);
  const events = eventsBetween(db, first, last);
  // Notices are never erased, so that only what is of the period can be named.
  const outside = [...notices, ...erasuresOf(db, { indexes: period, events }, size)].filter(
    (index) => index < first || index > last,
  );
  return {
    about: { from, to, from_index: first, to_index: last },
    indexes: [...outside, ...period].sort((a, b) => a - b),
    drains: null,
  };
}
