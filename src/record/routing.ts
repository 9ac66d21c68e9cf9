/** Where an entry that names a device goes: to the drain that the device was on when it was read. */
import { chainOf, type Subject } from '../domain/book/book.ts';
import { msOf } from '../domain/devices/device.ts';
import { drainAt as drainOfDevice, type ReadTime, readAt } from '../domain/devices/device-whereabouts.ts';
import { type Chain, itemOf } from '../domain/fold/chains.ts';
import { isSamePatient, patientKey } from '../domain/fold/drain.ts';
import { type EpochMs, epochMs } from '../domain/numbers/units.ts';
import type { EntryBody, Identifier } from '../domain/vocabulary/entry.ts';
import { identifierText } from '../domain/vocabulary/identifier-text.ts';
import { type DeviceLook, type DeviceWrites, UNMATCHED } from '../store/device-port.ts';
import type { Destination, Place } from '../store/port.ts';
import { nameOf } from './names.ts';

/** What is said of an earlier entry goes where that one counts; what is new, where the device was. */
export function destinationOf(body: EntryBody, devices: DeviceLook, nowMs: EpochMs): Destination {
  const drain =
    'target' in body
      ? (devices.chain(nameOf(body.target))?.drain ?? null)
      : drainAt(body.device, readTimeOf(body, body.effective_at, nowMs), devices);
  return { stream: drain ?? UNMATCHED, drain };
}

/** The drain that a chain's device was on when what it says was read; null where it was on none, or the chain is void. */
export function drainOfChain(chain: Chain, devices: DeviceLook): string | null {
  const read = readTimeOfChain(chain);
  return read === null ? null : drainAt(chain.first.body.device, read, devices);
}

/** When what a chain says was read; null where the chain is void. */
export function readTimeOfChain(chain: Chain): ReadTime | null {
  const item = itemOf(chain);
  if (item === undefined) return null;
  return { charted: item.at, receivedMs: chain.first.recorded_ms, by: chain.end.body.author.type };
}

/** @param time that it was read at, by whoever charts it now @param receivedMs when its first form was received */
const readTimeOf = ({ author }: EntryBody, time: string, receivedMs: EpochMs): ReadTime => ({
  charted: msOf(time),
  receivedMs,
  by: author.type,
});

const drainAt = (device: Identifier | undefined, read: ReadTime, devices: DeviceLook): string | null =>
  device === undefined ? null : drainOfDevice(devices.device(nameOf(device)), read);

/** How the indexes say where the chain of an entry counts; nothing where it names no device. */
export function devicesWritten(chain: Chain, drain: string | null): DeviceWrites | undefined {
  const { device } = chain.first.body;
  if (device === undefined) return undefined;
  const read = readTimeOfChain(chain);
  const readMs = read === null ? null : readAt(read);
  return { chain: { chain: chain.first.id, device: nameOf(device), readMs, drain } };
}

export interface OfAnother extends Omit<NotRouted, 'refused'> {
  readonly refused: 'patient-differs';
}

interface Sent {
  readonly body: EntryBody;
  /** Whether its sender may reach a drain; anybody may unless given. */
  readonly mayReach?: (drain: string | null) => boolean;
}

export interface NotRouted {
  readonly refused: 'device-elsewhere' | 'device-differs';
  readonly pointer: string;
  readonly value: string;
  readonly mend: string;
}

/** Why an entry cannot go to a drain: the device that it names, or that its target named, was not on that drain. */
export function notRouted(
  subject: Subject,
  { drain, recordedMs }: Place & { readonly drain: string },
  { body, mayReach }: Sent,
  devices: DeviceLook,
): NotRouted | null {
  // A client that is confined is not told of drains that are not its own, nor whether there is one.
  const placeIn = (found: string | null): string =>
    mayReach?.(found) === false
      ? 'on another drain then, or on none'
      : `on ${found === null ? 'no drain' : `drain ${found}`} then`;
  if (!('target' in body)) {
    const { device, effective_at } = body;
    if (device === undefined) return null;
    const found = drainAt(device, readTimeOf(body, effective_at, epochMs(recordedMs)), devices);
    return found === drain
      ? null
      : elsewhere('/device', identifierText(device), placeIn(found), 'leave out the drain');
  }
  const book = subject.get(drain);
  const first = book === undefined ? undefined : chainOf(book, body.target)?.first;
  const device = first?.body.device;
  if (
    body.device !== undefined &&
    (device === undefined || identifierText(device) !== identifierText(body.device))
  ) {
    const mend = `it names ${device === undefined ? 'no device' : identifierText(device)}: name that, or none`;
    return { refused: 'device-differs', pointer: '/device', value: identifierText(body.device), mend };
  }
  if (body.kind !== 'corrected' || first === undefined || device === undefined) return null;
  const { effective_at } = body.replacement;
  const found = drainAt(device, readTimeOf(body, effective_at, first.recorded_ms), devices);
  if (found === drain) return null;
  const instead = 'mark the entry entered-in-error and post it anew for the device';
  return elsewhere('/replacement/effective_at', effective_at, placeIn(found), instead);
}

function elsewhere(pointer: string, value: string, where: string, instead: string): NotRouted {
  const mend = `the device was ${where}: ${instead}, or correct its assignments`;
  return { refused: 'device-elsewhere', pointer, value, mend };
}

/** Why a chain may not count for a drain: its sender said whom it was of, and the drain is not linked to them. */
export function notOfItsPatient(
  { first }: Chain,
  drain: string,
  devices: DeviceLook,
  { pointer, quotesNothing }: { readonly pointer: string; readonly quotesNothing: true | undefined },
): OfAnother | null {
  const { identifier, received } = first.body;
  if (received?.patient === undefined) return null;
  const patient = devices.patientOf(drain) ?? undefined;
  if (isSamePatient(received.patient, patient)) return null;
  const linked = patientKey(patient) ?? 'nobody';
  const said = quotesNothing
    ? 'its sender said that it is of another patient than the drain is linked to'
    : `its sender said that it is of ${patientKey(received.patient)}, and drain ${drain} is linked to ${linked}`;
  const mend = `${said}: name a drain of theirs, or mark the entry entered-in-error first`;
  return { refused: 'patient-differs', pointer, value: identifierText(identifier), mend };
}
