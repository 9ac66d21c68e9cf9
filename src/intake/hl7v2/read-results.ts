/** An ORU^R01 to what it says of drains, judged by the native schema. */
import type { Author, EntryBody, Identifier, Reference } from '../../domain/vocabulary/entry.ts';
import type { MessageMapping } from '../../domain/vocabulary/message-mapping.ts';
import { type Profiles, readEntry } from '../native/read-entry.ts';
import { draftOf } from './draft.ts';
import { at, type Er7, type Segment } from './er7.ts';
import { type Hl7Fault, hl7Fault, orFault, placeText } from './fault.ts';
import { type Group, groupsIn, type Member, type Whose } from './groups.ts';
import { patientIn } from './named.ts';

/** What a message says of one drain at one time under one order. */
export interface Telling {
  readonly of: Whose;
  /** The same for all messages of this order about this time. */
  readonly identifier: Identifier;
  /** Names what this very message changes of it. */
  readonly change: Identifier;
  readonly author: Author;
  readonly claims: { readonly patient: Reference; readonly site: null } | undefined;
  /** As an entry of its own; null where it only takes back. */
  readonly says: EntryBody | null;
  /** It says itself that something of it was told before, and wrong. */
  readonly corrects: boolean;
  /** Fields of what was told before that no longer hold. */
  readonly takesBack: readonly (readonly string[])[];
  /** Canonical text of all this. */
  readonly request: string;
  /** Header and the segments it was read from, as they were sent; nothing of the patient. */
  readonly source: string;
  readonly order: Segment;
  readonly drainPlace: Group['drainPlace'];
}

export interface ReadSettings {
  readonly mapping: MessageMapping;
  readonly profiles: Profiles;
}

type Faulty = { readonly faults: readonly Hl7Fault[] };

const MOST_TELLINGS = 100;

/** All that a message says, or all that is wrong with it. */
export function readResults(
  er7: Er7,
  settings: ReadSettings,
): { readonly tellings: readonly Telling[] } | Faulty {
  const faults: Hl7Fault[] = [];
  const groups = orFault(() => groupsIn(er7, settings.mapping, faults), faults) ?? [];
  if (groups.length > MOST_TELLINGS) {
    const detail = `is about ${groups.length} drains and times`;
    const mend = `send at most ${MOST_TELLINGS} in one message`;
    faults.push(hl7Fault({ segment: 'MSH', sequence: 1 }, 104, undefined, detail, mend));
  }
  if (faults.length > 0) return { faults };
  const tellings = groups.flatMap((group) => {
    const read = orFault(() => tellingOf(er7, group, settings), faults) ?? { faults: [] };
    if (!('faults' in read)) return read;
    faults.push(...read.faults);
    return [];
  });
  return faults.length > 0 ? { faults } : { tellings };
}

/** @throws {Unreadable} for an escape that is not known */
function tellingOf(er7: Er7, group: Group, { mapping, profiles }: ReadSettings): Telling | Faulty {
  const { members, order, of, drainPlace } = group;
  const faults = discord(members);
  const claims = patientClaimed(er7, members[0], mapping, faults);
  const draft = draftOf(er7, group, mapping);
  const read = members.some(({ value }) => value !== null) ? readEntry(draft.native, profiles) : null;
  for (const fault of read !== null && 'faults' in read ? read.faults : []) {
    const place = draft.placeOf(fault.pointer);
    faults.push({ ...fault, pointer: placeText(place), place, code: 102 });
  }
  if (faults.length > 0 || (read !== null && 'faults' in read)) return { faults };
  return {
    of,
    drainPlace,
    order,
    claims,
    identifier: draft.identifier,
    change: draft.change,
    author: draft.author,
    request: draft.request,
    source: draft.source,
    says: read?.body ?? null,
    corrects: members.some(({ effect }) => effect === 'corrects' || effect === 'withdraws'),
    takesBack: members.flatMap(({ value, row }) => (value === null ? [row.field] : [])),
  };
}

/** What is one entry is by one author, and says each thing once. */
function discord(members: readonly Member[]): Hl7Fault[] {
  return members.flatMap(({ obx, row, author, observed: { pid } }, n) => {
    const whose = members[0]?.observed.pid;
    if (pid !== whose)
      return hl7Fault(
        pid === undefined ? { segment: 'PID', sequence: 1 } : at(pid, 3),
        102,
        undefined,
        'stands over results of the same order, drain and time as another PID',
        'send them under one PID, or under orders of their own',
      );
    if (JSON.stringify(author) !== JSON.stringify(members[0]?.author))
      return hl7Fault(
        at(obx, 16),
        102,
        obx.fields[16],
        'is another than that of an OBX of the same order and time',
        'send it under an order of its own',
      );
    const isTwice = members.findIndex((each) => each.row.field.join() === row.field.join()) < n;
    return isTwice ? hl7Fault(at(obx, 3), 102, obx.fields[3], 'stands twice', 'send it once') : [];
  });
}

/** The patient of the message, to be held against the drain's; undefined where the mapping does not ask for it. */
function patientClaimed(
  er7: Er7,
  member: Member | undefined,
  { patient }: MessageMapping,
  faults: Hl7Fault[],
): Telling['claims'] {
  if (patient === undefined) return undefined;
  const pid = member?.observed.pid;
  const place = { segment: 'PID', sequence: pid?.sequence ?? 1, field: 3 };
  const value = pid === undefined ? '' : patientIn(er7, pid, patient.authority);
  if (value !== '') return { patient: { identifier: { system: patient.system, value } }, site: null };
  const mend = `send the identifier that ${patient.authority} gave the patient`;
  faults.push(hl7Fault(place, 101, undefined, 'names no patient', mend));
  return undefined;
}
