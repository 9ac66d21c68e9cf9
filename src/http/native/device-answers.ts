/** What the native API answers of devices. */
import { z } from 'zod';
import { identifier } from '../../intake/native/common-schemas.ts';
import { ALL_KINDS } from '../../intake/native/schemas.ts';
import { actReceipt, storedFields } from './answers.ts';

const time = z.string().meta({ format: 'date-time' });

export const deviceType = z.enum(['collection-unit', 'monitor']);

const assignment = z
  .object({
    identifier: identifier.describe('Of its first entry.'),
    newest: identifier.describe('Of its newest form, which a correction names.'),
    drain: z.string(),
    from: time.describe('The first moment at which the device is on the drain.'),
    to: time.nullable().describe('The first moment at which it no longer is; null while it still is.'),
    entered_in_error: z.boolean(),
  })
  .meta({ id: 'DeviceAssignment' });

export const device = z
  .object({
    device: z.string().describe('Id made from what the device is known by.'),
    identifier,
    type: deviceType,
    registered_at: time,
    drain: z.string().nullable().describe('The drain that it is on now; null: none.'),
    assignments: z.array(assignment).describe('In the order in which they were charted.'),
  })
  .meta({ id: 'RegisteredDevice' });

export const devicesPage = z
  .object({ devices: z.array(device), next_after: z.string().nullable().describe('Null on the last page.') })
  .meta({ id: 'DevicesPage' });

const deviceEntry = z
  .object({
    ...storedFields,
    body: z
      .looseObject({ identifier, kind: actReceipt.shape.kind, effective_at: time })
      .describe('The entry as accepted.'),
  })
  .meta({ id: 'DeviceEntry' });
export const deviceEntriesPage = z
  .object({
    device: z.string(),
    entries: z.array(deviceEntry),
    next_after: z.number().int().nullable().describe('Null on the last page.'),
  })
  .meta({ id: 'DeviceEntriesPage' });

const unmatchedEntry = z
  .object({
    ...storedFields,
    device: z.string(),
    registered: z
      .boolean()
      .describe('Whether the device is registered; if not, that comes before an assignment.'),
    body: z
      .looseObject({ identifier, device: identifier, kind: z.enum(ALL_KINDS), effective_at: time })
      .describe('The entry as accepted, in its first form.'),
  })
  .meta({ id: 'UnmatchedEntry' });
export const unmatchedPage = z
  .object({
    unmatched: z.array(unmatchedEntry),
    count: z.number().int().nonnegative().describe('All that are unmatched.'),
    next_after: z.number().int().nullable().describe('Null on the last page.'),
  })
  .meta({ id: 'UnmatchedPage' });
