/** What the native API answers of devices. */
import { z } from 'zod';
import { identifier } from '../../intake/native/common-schemas.ts';
import { ALL_KINDS } from '../../intake/native/schemas.ts';
import { actReceipt } from './answers.ts';
import { storedFields } from './entry-answers.ts';

const time = z.string().meta({ format: 'date-time' });

export const deviceType = z.enum(['collection-unit', 'monitor']);

const names = {
  identifier: identifier.describe('Of its first entry.'),
  newest: identifier.describe('Of its newest form, which a correction names.'),
};
const stay = {
  ...names,
  from: time.describe('The first moment of it.'),
  to: time.nullable().describe('The first moment at which it is over; null while it goes on.'),
  entered_in_error: z.boolean(),
};
const assignment = z
  .object({
    drain: z.string(),
    ...stay,
    clock_checked: z
      .boolean()
      .describe('Whether somebody looked at the clock of the device while it was there, and it was right.'),
  })
  .meta({ id: 'DeviceAssignment' });
const retirement = z.object(stay).meta({ id: 'DeviceRetirement' });

export const device = z
  .object({
    device: z.string().describe('Id made from what the device is known by.'),
    identifier,
    type: deviceType,
    status: z
      .enum(['active', 'inactive', 'entered-in-error'])
      .describe('inactive: out of use now. entered-in-error: its registration was withdrawn.'),
    registered_at: time,
    registration: z.object(names),
    drain: z.string().nullable().describe('The drain that it is on now; null: none.'),
    assignments: z.array(assignment).describe('In the order in which they were charted.'),
    retirements: z
      .array(retirement)
      .describe('When it was out of use, in the order in which that was charted.'),
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
    because: z
      .enum(['not-registered', 'on-no-drain', 'clock-in-question'])
      .describe(
        'clock-in-question: by its clock the device was on a drain that it had left when this was received, so that a clock that is behind would tell the wrong drain.',
      ),
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
