/**
 * The elements of a Device and of a DeviceUseStatement that can be charted (FHIR R4 device.html, deviceusestatement.html). Of the
 * rest, what can change the meaning is refused, and what cannot is kept with the resource as sent.
 */
import { z } from 'zod';
import { MEND } from '../native/quantity.ts';
import { concept, identifier, KEPT_OF_ALL, kept, never, reference } from './shape.ts';

export const rawDevice = z.strictObject({
  resourceType: z.literal('Device'),
  ...KEPT_OF_ALL,
  identifier: z.array(identifier).min(1),
  status: z.enum(['active', 'inactive', 'entered-in-error']).optional(),
  statusReason: z.array(z.looseObject({ text: z.string().optional() })).optional(),
  type: concept,
  patient: never(
    'says whose device it is',
    'send a DeviceUseStatement that says on which drain it was, and when',
  ),
  definition: kept,
  udiCarrier: kept,
  distinctIdentifier: kept,
  manufacturer: kept,
  manufactureDate: kept,
  expirationDate: kept,
  lotNumber: kept,
  serialNumber: kept,
  deviceName: kept,
  modelNumber: kept,
  partNumber: kept,
  specialization: kept,
  version: kept,
  property: kept,
  owner: kept,
  contact: kept,
  location: kept,
  url: kept,
  note: kept,
  safety: kept,
  parent: kept,
});

const TIMED = 'send timingPeriod, with a start and, once it is over, an end';

export const rawDeviceUse = z.strictObject({
  resourceType: z.literal('DeviceUseStatement'),
  ...KEPT_OF_ALL,
  identifier: z.array(identifier).min(1),
  status: z.enum(['active', 'completed', 'entered-in-error']),
  subject: reference,
  device: reference,
  derivedFrom: z.tuple([z.looseObject({ identifier })], {
    error: `does not name one drain${MEND}send one element, a Procedure by the identifier that the drain was placed under`,
  }),
  timingPeriod: z.strictObject({ id: kept, extension: kept, start: z.string(), end: z.string().optional() }),
  timingTiming: never('is not kept here', TIMED),
  timingDateTime: never('is not kept here', TIMED),
  bodySite: never('is that of the drain, as it was placed', 'leave it out'),
  source: reference.optional(),
  recordedOn: kept,
  reasonCode: z.array(z.looseObject({ text: z.string().optional() })).optional(),
  reasonReference: never('cannot be looked up here', 'send reasonCode with a text'),
  note: z.array(z.looseObject({ text: z.string() })).optional(),
  basedOn: kept,
});

export type RawDevice = z.infer<typeof rawDevice>;
export type RawDeviceUse = z.infer<typeof rawDeviceUse>;
