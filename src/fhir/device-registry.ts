/** Devices that staff register as the exact texts of FHIR R4 Devices. They hang on the stream of the device, and no EHR is sent them. */
import type { DeviceType, Registration } from '../domain/devices/device.ts';
import { FrameBuilder, type Framed } from '../json/frame.ts';
import { REGISTERED_TYPES } from './device-codes.ts';
import { concept, localSystem } from './fixed-parts.ts';

export interface IssuedDevice {
  readonly registration: Registration;
  /** In the words of Device.status. */
  readonly status: string;
  /** Of the device. */
  readonly stream: string;
  /** Entry id of the registration. */
  readonly anchor: string;
  readonly version: number;
  /** Time of the issue, RFC 3339 in UTC. */
  readonly issuedAt: string;
}

export type WriteRegistered = (issued: IssuedDevice) => Framed;

/** What the device is named by in ids. */
export const REGISTERED = 'registered';

/** @param canonical start of our canonical URLs, without a slash at the end */
export function createRegisteredWriter(canonical: string): WriteRegistered {
  const system = localSystem(canonical, 'unit');
  const typeOf = (code: DeviceType): string =>
    concept([{ system, code, display: REGISTERED_TYPES[code].display }]);
  return ({ registration: { device, type }, status, stream, anchor, version, issuedAt }) =>
    new FrameBuilder()
      .fixed(`{"resourceType":"Device","id":"${REGISTERED}.`)
      .hole(stream)
      .fixed('.')
      .hole(anchor)
      .fixed('","meta":{"versionId":"')
      .hole(String(version))
      .fixed('","lastUpdated":"')
      .hole(issuedAt)
      .fixed('"},"identifier":[')
      .hole(JSON.stringify({ system: device.system, value: device.value }))
      .fixed('],"status":"')
      .hole(status)
      .fixed(`","type":${typeOf(type)}}`)
      .built();
}
