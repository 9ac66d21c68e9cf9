/** What an entry changes of a device as it stands in FHIR. */
import type { DeviceBook } from '../domain/devices/device.ts';
import { epochMs } from '../domain/numbers/units.ts';
import type { Identifier } from '../domain/vocabulary/entry.ts';
import { REGISTERED, type WriteRegistered } from '../fhir/device-registry.ts';
import { partsOfId } from '../fhir/reference.ts';
import { type DeviceLook, deviceOfStream, deviceStream } from '../store/device-port.ts';
import type { DrainIssue, Place } from '../store/port.ts';
import { statusOf } from './device-view.ts';
import { nameOf } from './names.ts';

/** The logical id of a registered device. @param registration identifier of its first entry */
export const registeredId = (device: string, registration: Identifier): string =>
  `${REGISTERED}.${deviceStream(device)}.${nameOf(registration)}`;

/** The device that the logical id of such a resource names; undefined where it is an id of something else. */
export function deviceOfId(id: string, resource: string): string | undefined {
  const { name, drain: stream = '' } = partsOfId(id) ?? {};
  return name === resource ? deviceOfStream(stream) : undefined;
}

/** The device of the id of a registered one. */
export const deviceOfRegistered = (id: string): string | undefined => deviceOfId(id, REGISTERED);

export interface Told {
  readonly place: Place;
  readonly devices: Pick<DeviceLook, 'versionsIssued'>;
  readonly write: WriteRegistered;
}

/**
 * A new version where the device is another than before, or its status is. It stands under the stream of the device, which has
 * no lane to any target; it says nothing of drains and patients, so that it may stand in the audit bundle of each.
 */
export function issuesOfDevice(
  device: string,
  before: DeviceBook,
  after: DeviceBook,
  { place, devices, write }: Told,
): readonly DrainIssue[] {
  const { registration } = after;
  const at = epochMs(place.recordedMs);
  const status = statusOf(after, at);
  if (registration === null) return [];
  if (registration === before.registration && status === statusOf(before, at)) return [];
  const [stream, anchor] = [deviceStream(device), nameOf(registration.identifier)];
  const factKey = `${REGISTERED}.${anchor}`;
  const version = devices.versionsIssued(stream, factKey) + 1;
  const text = write({ registration, status, stream, anchor, version, issuedAt: place.recordedAt });
  const reissued = [{ factKey, version, status: 'final' }];
  return [{ drain: stream, resources: [text], reissued, deliverable: false }];
}
