/** What may be posted of devices themselves: every field known, none coerced. */
import { z } from 'zod';
import { common, identifier, instant, reason, words } from './common-schemas.ts';
import { MEND } from './quantity.ts';

const type = z.enum(['collection-unit', 'monitor']);

export const registration = z
  .strictObject({
    ...common,
    device: identifier.meta({ description: 'What the device is known by: its id here is made from it.' }),
    type,
  })
  .meta({ id: 'DeviceRegistration' });

const period = {
  from: instant.meta({ format: 'date-time', description: 'The first moment of it.' }),
  to: instant.optional().meta({
    format: 'date-time',
    description: 'The first moment at which it is over; none: it goes on.',
  }),
};
const placement = {
  drain: words(64).meta({ description: 'Id of the drain.' }),
  ...period,
  clock_checked: z.literal(true).optional().meta({
    description:
      'Somebody looked at the clock of the device while it was there, and it was right: its times are taken at their word.',
  }),
};
const change = { ...common, target: identifier, reason };

const assigned = z
  .strictObject({ kind: z.literal('assigned'), ...common, reason, ...placement })
  .meta({ id: 'DeviceAssigned' });
const retired = z.strictObject({ kind: z.literal('retired'), ...common, reason, ...period }).meta({
  id: 'DeviceRetired',
  description:
    'Takes it out of use: on no drain, and not to be put on one. What it sends is kept as unmatched.',
});
const closed = z
  .strictObject({ kind: z.literal('closed'), ...change, to: instant })
  .meta({ id: 'DeviceStayClosed', description: 'Ends an assignment or a retirement that is open.' });
const withdrawn = z
  .strictObject({ kind: z.literal('entered-in-error'), ...change })
  .meta({ id: 'DeviceEntryWithdrawn', description: 'Says that it never was. Final.' });

const correction = <T extends z.ZodType>(id: string, replacement: T, description: string) =>
  z.strictObject({ kind: z.literal('corrected'), ...change, replacement }).meta({ id, description });

export const assignmentBody = z
  .discriminatedUnion('kind', [
    assigned,
    closed,
    correction(
      'DeviceAssignmentCorrected',
      z.strictObject(placement),
      'Puts another drain or time in the place of its newest form.',
    ),
    withdrawn,
  ])
  .meta({ id: 'DeviceAssignmentEntry', description: 'On which drain a device was, and when: [from, to).' });

const replacement = z.union([z.strictObject(placement), z.strictObject(period), z.strictObject({ type })], {
  error: `is no form of what it replaces${MEND}send drain, from and to for an assignment, from and to for a retirement, type for a registration`,
});

export const deviceEntryBody = z
  .discriminatedUnion('kind', [
    assigned,
    retired,
    closed,
    correction('DeviceEntryCorrected', replacement, 'Puts something else in the place of its newest form.'),
    withdrawn,
  ])
  .meta({ id: 'DeviceEntryBody', description: 'What is charted of a device that is registered.' });
