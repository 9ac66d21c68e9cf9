/** What an erasure would reach: whole closed drains of one patient, and what the service cannot reach by itself. */
import type Database from 'better-sqlite3';
import { patientKey } from '../../domain/fold/drain.ts';
import type { MessageMapping } from '../../domain/vocabulary/message-mapping.ts';
import { namedInBytes } from '../../hl7v2/read-message.ts';
import { bytesOfKept } from '../../intake/hl7v2/kept-message.ts';
import { drainNameOf } from '../../record/record.ts';
import { archivesIn } from '../archives.ts';
import { createHolder, type Group, groupsIn } from '../closed-drains.ts';

export interface Plan {
  readonly drains: readonly string[];
  /** Places in the log of kept HL7 v2 messages that name them or their patient. */
  readonly messages: readonly number[];
  /** Places of those that name neither a drain nor a patient, as far as the mapping tells: they may be of anybody. */
  readonly unnamed: readonly number[];
  /** Systems that took something of them. */
  readonly targets: readonly string[];
  /** Archives that hold them. */
  readonly archives: readonly string[];
}

export type Wanted = { readonly drain: string } | { readonly patient: string };

/**
 * @param mapping of HL7 v2 messages; null where none is configured
 * @throws {Error} where there is no such drain, it goes with others, or something of them is still open
 */
export function planOf(db: Database.Database, wanted: Wanted, mapping: MessageMapping | null): Plan {
  const group = groupOf(db, wanted);
  const why = createHolder(db)(group);
  if (why !== null) throw new Error(`nothing was erased: ${why}`);
  const { drains } = group;
  return {
    drains,
    ...messagesOf(db, group, mapping),
    targets: db
      .prepare<[string], string>(
        'SELECT DISTINCT target FROM taken WHERE drain IN (SELECT value FROM json_each(?)) ORDER BY target',
      )
      .pluck()
      .all(JSON.stringify(drains)),
    archives: archivesIn(db)
      .filter((archive) => archive.drains.some((drain) => drains.includes(drain)))
      .map(({ bundle }) => bundle),
  };
}

export const isLinked = (db: Database.Database, patient: string): boolean =>
  db.prepare('SELECT 1 FROM drain WHERE patient_key = ?').get(patient) !== undefined;

function groupOf(db: Database.Database, wanted: Wanted): Group {
  const groups = groupsIn(db);
  if ('patient' in wanted) {
    const found = groups.find(({ patient }) => patient === wanted.patient);
    if (found === undefined) throw new Error(`no drain is linked to the patient ${wanted.patient}`);
    return found;
  }
  const found = groups.find(({ drains }) => drains.includes(wanted.drain));
  if (found === undefined) throw new Error(`there is no such drain: ${wanted.drain}`);
  if (found.drains.length === 1) return found;
  throw new Error(
    `${wanted.drain} is one of ${found.drains.length} drains of a patient, and sums over all of them stand in the entries ` +
      'of each: erase them together with --patient REFERENCE',
  );
}

/** Whether they wait or were seen to. @throws {Error} where there are such messages and no mapping to read them by */
function messagesOf(
  db: Database.Database,
  { drains, patient }: Group,
  mapping: MessageMapping | null,
): Pick<Plan, 'messages' | 'unnamed'> {
  const kept = db
    .prepare<[], { readonly logIndex: number; readonly body: string }>(
      `SELECT log_index AS logIndex, body FROM unmapped_message JOIN payload USING (log_index) ORDER BY log_index`,
    )
    .all();
  if (kept.length > 0 && mapping === null)
    throw new Error(
      `${kept.length} HL7 v2 messages were kept, and nothing says how to read whom they name: set DRAINLEDGER_HL7V2`,
    );
  if (mapping === null) return { messages: [], unnamed: [] };
  const read = kept.map(({ logIndex, body }) => ({ logIndex, ...namedInBytes(bytesOfKept(body), mapping) }));
  const ofThem = read.filter(
    (named) =>
      named.drains.some((each) => drains.includes(drainNameOf(each))) ||
      named.patients.some((each) => patient !== null && patientKey(each) === patient),
  );
  const ofNobody = read.filter((named) => named.drains.length === 0 && named.patients.length === 0);
  return {
    messages: ofThem.map(({ logIndex }) => logIndex),
    unnamed: ofNobody.map(({ logIndex }) => logIndex),
  };
}
