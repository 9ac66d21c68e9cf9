/** Devices and what is unmatched, as the native API shows them. */
import {
  type Assignment,
  assignedAt,
  assignmentsOf,
  type Charted,
  type DeviceBook,
  isAssignment,
  isRegistered,
  type Stay,
  stayAt,
} from '../domain/devices/device.ts';
import { isClockInQuestion } from '../domain/devices/device-whereabouts.ts';
import type { EpochMs } from '../domain/numbers/units.ts';
import type { DeviceReads } from '../store/port.ts';
import { readTimeOfChain } from './routing.ts';

/** @param isSeen whether a drain may be shown to whoever asks @returns null for what nobody registered */
export function deviceView(
  device: string,
  book: DeviceBook,
  at: EpochMs,
  isSeen: (drain: string) => boolean,
) {
  const { registration, stays } = book;
  if (registration === null) return null;
  const seen = { stays: stays.filter((stay) => !isAssignment(stay) || isSeen(stay.drain)) };
  return {
    device,
    identifier: registration.device,
    type: registration.type,
    status: statusOf(book, at),
    registered_at: registration.effective_at,
    registration: namesOf(registration),
    drain: assignedAt(seen, at)?.drain ?? null,
    assignments: assignmentsOf(seen).map(assignmentView),
    retirements: stays.filter((stay) => !isAssignment(stay)).map(stayView),
  };
}

/** In the words of FHIR R4, Device.status. */
export function statusOf(book: DeviceBook, at: EpochMs): 'active' | 'inactive' | 'entered-in-error' {
  if (!isRegistered(book)) return 'entered-in-error';
  const stay = stayAt(book, at);
  return stay !== null && !isAssignment(stay) ? 'inactive' : 'active';
}

const namesOf = ({ identifier, end }: Charted) => ({ identifier, newest: end });

const stayView = (stay: Stay) => ({
  ...namesOf(stay),
  from: stay.from,
  to: stay.to ?? null,
  entered_in_error: stay.void,
});

const assignmentView = (assignment: Assignment) => ({
  drain: assignment.drain,
  ...stayView(assignment),
  clock_checked: assignment.clock_checked === true,
});

/** Devices that are on a drain at a moment. */
export function devicesOn(store: DeviceReads, drain: string, at: EpochMs) {
  return store.devicesOf(drain).flatMap((device) => {
    const book = store.device(device);
    const assignment = book === undefined ? null : assignedAt(book, at);
    if (book?.registration == null || assignment?.drain !== drain) return [];
    const { device: identifier, type } = book.registration;
    return { device, identifier, type, since: assignment.from };
  });
}

/** Why what a device charted counts for no drain. */
export type UnmatchedReason = 'not-registered' | 'on-no-drain' | 'clock-in-question';

/** @param entryId of an entry of the device that is unmatched */
export function whyUnmatched(store: DeviceReads, device: string, entryId: string): UnmatchedReason {
  const book = store.device(device);
  if (book === undefined || !isRegistered(book)) return 'not-registered';
  const chain = store.routedChain(entryId)?.chain;
  const read = chain === undefined ? null : readTimeOfChain(chain);
  return read !== null && isClockInQuestion(book, read) ? 'clock-in-question' : 'on-no-drain';
}
