/** Where devices were, as FHIR R4 DeviceUseStatements: made from the assignments as they stand, of whoever the drain is of now. */
import type { DeviceUseStatement } from 'fhir/r4.js';
import { readDeviceBody } from '../audit/entry-text.ts';
import { type Assignment, assignmentsOf } from '../domain/devices/device.ts';
import { deviceStream } from '../store/device-port.ts';
import type { Store } from '../store/port.ts';
import { nameOf } from './names.ts';
import { deviceOfId, registeredId } from './registry-issue.ts';

export interface DeviceUse {
  readonly id: string;
  readonly device: string;
  readonly assignment: Assignment;
  readonly resource: DeviceUseStatement;
}

type Reads = Pick<Store, 'device' | 'devices' | 'deviceEntries' | 'patientOf'>;

/** One for each assignment to a drain of a patient, in the order of their ids. */
export function deviceUses(store: Reads, canonical: string): readonly DeviceUse[] {
  const found: DeviceUse[] = [];
  for (let after = ''; ; ) {
    const names = store.devices(after, DEVICES_AT_ONCE);
    found.push(...names.flatMap((device) => usesOf(store, canonical, device)));
    after = names.at(-1) ?? '';
    if (names.length < DEVICES_AT_ONCE) break;
  }
  return found.sort((a, b) => (a.id < b.id ? -1 : 1));
}

/** The one that an id names, if there is such a one. */
export function useCalled(store: Reads, canonical: string, id: string): DeviceUse | undefined {
  const device = deviceOfId(id, USE);
  return device === undefined ? undefined : usesOf(store, canonical, device).find((each) => each.id === id);
}

/** What begins the id of each. */
const USE = 'device-use';

const DEVICES_AT_ONCE = 500;
const MOST_ENTRIES = 100_000;

/** Where one device was. */
export function usesOf(store: Reads, canonical: string, device: string): readonly DeviceUse[] {
  const book = store.device(device);
  const registration = book?.registration;
  if (book === undefined || registration == null) return [];
  const stream = deviceStream(device);
  const entries = new Map(
    store.deviceEntries(device, 0, MOST_ENTRIES).map((entry) => [entry.entryId, entry] as const),
  );
  return assignmentsOf(book).flatMap((assignment) => {
    const patient = store.patientOf(assignment.drain);
    const newest = entries.get(nameOf(assignment.end));
    // Of nobody, it would say that a device was used on them.
    if (patient === null || newest === undefined) return [];
    const { void: isVoid, drain, from, to, identifier, members } = assignment;
    const { recordedAt } = newest;
    const act = readDeviceBody(newest.body);
    const id = `${USE}.${stream}.${nameOf(identifier)}`;
    const resource: DeviceUseStatement = {
      resourceType: 'DeviceUseStatement',
      id,
      meta: { versionId: String(members.length), lastUpdated: recordedAt },
      identifier: [identifier],
      status: isVoid ? 'entered-in-error' : to === undefined ? 'active' : 'completed',
      subject: patient,
      derivedFrom: [{ type: 'Procedure', identifier: { system: `${canonical}/drain`, value: drain } }],
      timingPeriod: { start: from, ...(to === undefined ? {} : { end: to }) },
      recordedOn: recordedAt,
      ...(act.author.type === 'person' ? { source: withoutType(act.author) } : {}),
      device: { reference: `Device/${registeredId(device, registration.identifier)}` },
      ...('reason' in act ? { reasonCode: [{ text: act.reason }] } : {}),
    };
    return { id, device, assignment, resource };
  });
}

const withoutType = ({ type: _type, ...reference }: { readonly type: string }) => reference;
