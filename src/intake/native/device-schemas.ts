/** What may be posted of devices themselves: every field known, none coerced. */
import { z } from 'zod';
import { common, identifier, instant, reason, words } from './common-schemas.ts';

export const registration = z
  .strictObject({
    ...common,
    device: identifier.meta({ description: 'What the device is known by: its id here is made from it.' }),
    type: z.enum(['collection-unit', 'monitor']),
  })
  .meta({ id: 'DeviceRegistration' });

const placement = {
  drain: words(64).meta({ description: 'Id of the drain.' }),
  from: instant.meta({ format: 'date-time', description: 'The first moment at which it is on the drain.' }),
  to: instant.optional().meta({
    format: 'date-time',
    description: 'The first moment at which it no longer is; none: it still is.',
  }),
};

const assigned = z
  .strictObject({ kind: z.literal('assigned'), ...common, reason, ...placement })
  .meta({ id: 'DeviceAssigned' });
const closed = z
  .strictObject({ kind: z.literal('closed'), ...common, target: identifier, reason, to: instant })
  .meta({ id: 'DeviceAssignmentClosed', description: 'Ends an assignment that is open.' });
const corrected = z
  .strictObject({
    kind: z.literal('corrected'),
    ...common,
    target: identifier,
    reason,
    replacement: z.strictObject(placement),
  })
  .meta({
    id: 'DeviceAssignmentCorrected',
    description: 'Puts another drain or time in the place of its newest form.',
  });
const withdrawn = z
  .strictObject({ kind: z.literal('entered-in-error'), ...common, target: identifier, reason })
  .meta({ id: 'DeviceAssignmentWithdrawn', description: 'Says that it never was. Final.' });

export const assignmentBody = z
  .discriminatedUnion('kind', [assigned, closed, corrected, withdrawn])
  .meta({ id: 'DeviceAssignmentEntry', description: 'On which drain a device was, and when: [from, to).' });
