/** Lawful erasure of whole drains: what is removed, and the tombstone that says so in the same transaction. */
import type Database from 'better-sqlite3';
import { issuedCommitment } from '../../audit/chain.ts';
import { readDeviceBody } from '../../audit/entry-text.ts';
import {
  ERASED_TYPE,
  ERASURE,
  type Erased,
  type LeftTexts,
  runsOf,
  writeErased,
} from '../../audit/erasure.ts';
import { assignmentsOf } from '../../domain/devices/device.ts';
import type { Author, Identifier } from '../../domain/vocabulary/entry.ts';
import { deviceStream } from '../device-port.ts';
import type { ErasureOrder, ErasureOutcome } from '../log-port.ts';
import { createDeviceShelf } from './devices.ts';
import type { OwnEntry, WrittenEntry } from './own-entries.ts';
import { nextSalt } from './salts.ts';

const OF_THEM = 'IN (SELECT value FROM json_each(@drains))';

/** The entry counts for a drain that is not among them: it is another patient's, wherever it stands. */
const OF_OTHERS = `EXISTS (
  SELECT 1 FROM device_chain_entry AS named JOIN device_chain USING (chain)
  WHERE named.log_index = ledger.log_index AND drain IS NOT NULL AND drain NOT ${OF_THEM})`;

/** What stands in their streams or counts for them, with what @also names and what became of messages among that. */
const CONCERNED = `
  SELECT log_index FROM ledger WHERE stream ${OF_THEM} AND NOT ${OF_OTHERS}
  UNION SELECT log_index FROM device_chain JOIN device_chain_entry USING (chain) WHERE drain ${OF_THEM}
  -- Of what counted for one of them and counts for none now, the forms that stand elsewhere.
  UNION SELECT other.log_index FROM ledger JOIN device_chain_entry AS own USING (log_index) JOIN device_chain USING (chain)
    JOIN device_chain_entry AS other USING (chain) WHERE stream ${OF_THEM} AND device_chain.drain IS NULL
  UNION SELECT value FROM json_each(@also)
  UNION SELECT settled_log FROM unmapped_message
    WHERE settled_log IS NOT NULL AND log_index IN (SELECT value FROM json_each(@also))
  ORDER BY 1`;

/** In the order in which nothing is needed any more that the next would look up. */
const REMOVALS = [
  `DELETE FROM issued WHERE drain ${OF_THEM}`,
  `DELETE FROM reissue WHERE drain ${OF_THEM}`,
  `DELETE FROM delivery_event WHERE drain ${OF_THEM}`,
  `DELETE FROM lane WHERE drain ${OF_THEM}`,
  `DELETE FROM set_aside WHERE drain ${OF_THEM}`,
  `DELETE FROM taken WHERE drain ${OF_THEM}`,
  // Void, so that it counts for nothing from now on, wherever its entries stand.
  `UPDATE device_chain SET drain = NULL, read_ms = NULL WHERE chain IN (
     SELECT chain FROM device_chain_entry WHERE log_index IN (SELECT value FROM json_each(@payloads)))`,
  `DELETE FROM device_of_drain WHERE drain ${OF_THEM}`,
  `DELETE FROM drain_patient WHERE drain ${OF_THEM}`,
  `DELETE FROM drain WHERE drain ${OF_THEM}`,
  'DELETE FROM unmapped_message WHERE log_index IN (SELECT value FROM json_each(@payloads))',
  'DELETE FROM identity WHERE log_index IN (SELECT value FROM json_each(@payloads))',
  'DELETE FROM payload WHERE log_index IN (SELECT value FROM json_each(@payloads))',
];

/** Erases inside the transaction of its group. @param onErased told of the drains that are none any more */
export function createEraser(
  db: Database.Database,
  append: (entry: OwnEntry) => WrittenEntry,
  onErased: (drains: readonly string[]) => void,
) {
  const find = createFinder(db);
  const assignmentsTo = createAssignmentFinder(db);
  const note = db.prepare<[object]>(
    `INSERT INTO erased (log_index, entry_id, tombstone)
     SELECT log_index, envelope ->> '$.entry', @tombstone FROM ledger
     WHERE log_index IN (SELECT value FROM json_each(@payloads)) ORDER BY log_index`,
  );
  const removals = REMOVALS.map((sql) => db.prepare<[object]>(sql));

  return (actor: Author, { drains, messages, reason }: ErasureOrder): ErasureOutcome => {
    const also = [...messages, ...assignmentsTo(drains)];
    const of = { drains: JSON.stringify(drains), also: JSON.stringify(also) };
    const { payloads, again, ...found } = find(of);
    const erased: Erased = {
      drains,
      entries: runsOf([...payloads, ...again].sort((a, b) => a - b)),
      ...found,
      reason,
    };
    const { logIndex } = append({ stream: ERASURE, type: ERASED_TYPE, actor, body: writeErased(erased) });
    const given = { drains: of.drains, payloads: JSON.stringify(payloads), tombstone: logIndex };
    note.run(given);
    for (const removal of removals) removal.run(given);
    onErased(drains);
    return { logIndex, entries: payloads.length };
  };
}

interface Given {
  /** JSON lists. */
  readonly drains: string;
  readonly also: string;
}

interface Found extends Pick<Erased, 'texts' | 'steps'> {
  /** Entries whose payloads go. */
  readonly payloads: readonly number[];
  /** Entries of which texts go, and whose payloads went before. */
  readonly again: readonly number[];
}

function createFinder(db: Database.Database): (given: Given) => Found {
  const numbers = (sql: string) => {
    const statement = db.prepare<[object], number>(sql).pluck();
    return (given: object): number[] => statement.all(given);
  };
  const concerned = numbers(
    `SELECT log_index FROM (${CONCERNED}) JOIN payload USING (log_index) ORDER BY log_index`,
  );
  const issuing = numbers(`SELECT log_index FROM issued WHERE drain ${OF_THEM} ORDER BY log_index`);
  const events = numbers(`SELECT event FROM delivery_event WHERE drain ${OF_THEM} ORDER BY event`);
  const hasPayload = db.prepare<[number], number>('SELECT 1 FROM payload WHERE log_index = ?').pluck();
  const left = db.prepare<[object], { readonly log_index: number; readonly resources: string }>(
    `SELECT log_index, resources FROM issued
     WHERE log_index IN (SELECT value FROM json_each(@touched)) AND drain NOT ${OF_THEM} ORDER BY rowid`,
  );

  return (given) => {
    const payloads = concerned(given);
    const goes = new Set(payloads);
    const others = [...new Set(issuing(given))].filter((index) => !goes.has(index));
    const again: number[] = [];
    const texts = new Map<number, string[]>();
    for (const index of others) {
      if (hasPayload.get(index) === undefined) again.push(index);
      else texts.set(index, []);
    }
    const touched = JSON.stringify([...payloads, ...others]);
    for (const { log_index, resources } of left.iterate({ drains: given.drains, touched })) {
      const known = texts.get(log_index);
      if (known === undefined) texts.set(log_index, [resources]);
      else known.push(resources);
    }
    return {
      payloads,
      again,
      texts: [...texts].sort(([a], [b]) => a - b).map(([entry, issued]) => leftTexts(entry, issued)),
      steps: runsOf(events(given)),
    };
  };
}

function leftTexts(entry: number, issued: readonly string[]): LeftTexts {
  const salt = nextSalt();
  return { entry, salt: salt.toString('hex'), issued: issuedCommitment(salt, issued) };
}

/** Finds all forms of the assignments of devices to drains: one that came as FHIR holds whom it was of. */
function createAssignmentFinder(db: Database.Database): (drains: readonly string[]) => readonly number[] {
  const devices = createDeviceShelf(db);
  const devicesOf = db
    .prepare<[string], string>('SELECT device FROM device_of_drain WHERE drain = ?')
    .pluck();
  const acts = db.prepare<[string], { readonly log_index: number; readonly body: string }>(
    'SELECT log_index, body FROM ledger JOIN payload USING (log_index) WHERE stream = ?',
  );
  const named = ({ system, value }: Identifier): string => JSON.stringify([system, value]);

  function formsOn(device: string, drains: readonly string[]): number[] {
    const assignments = assignmentsOf(devices.device(device)).filter(({ drain }) => drains.includes(drain));
    const forms = new Set(assignments.flatMap(({ members }) => members.map(named)));
    return acts
      .all(deviceStream(device))
      .filter(({ body }) => forms.has(named(readDeviceBody(body).identifier)))
      .map(({ log_index }) => log_index);
  }

  return (drains) => {
    devices.forget();
    const names = new Set(drains.flatMap((drain) => devicesOf.all(drain)));
    return [...names].flatMap((device) => formsOn(device, drains));
  };
}
