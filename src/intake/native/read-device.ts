/** Parsed JSON to what it says of a device, or to all that is wrong with it. */
import type { z } from 'zod';
import type { DeviceBody, Registered } from '../../domain/devices/device.ts';
import type { ExactValue } from '../../json/exact-json.ts';
import type { Fault } from '../fault.ts';
import { assignmentBody, deviceEntryBody, registration } from './device-schemas.ts';
import { faultsOf } from './zod-faults.ts';

type Faulty = { readonly faults: readonly Fault[] };

export function readRegistration(value: ExactValue): { readonly body: DeviceBody & Registered } | Faulty {
  const read = checked(registration, value);
  return 'faults' in read ? read : { body: { kind: 'registered', ...read.value } as DeviceBody & Registered };
}

export function readAssignment(value: ExactValue): { readonly body: DeviceBody } | Faulty {
  const read = checked(assignmentBody, value);
  return 'faults' in read ? read : { body: read.value as DeviceBody };
}

export function readDeviceEntry(value: ExactValue): { readonly body: DeviceBody } | Faulty {
  const read = checked(deviceEntryBody, value);
  return 'faults' in read ? read : { body: read.value as DeviceBody };
}

function checked<T>(schema: z.ZodType<T>, value: ExactValue): { readonly value: T } | Faulty {
  const read = schema.safeParse(value);
  return read.success ? { value: read.data } : { faults: faultsOf(read.error, value) };
}
