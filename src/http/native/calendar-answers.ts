/** Calendar windows as answered, as schemas. */
import { z } from 'zod';
import { CALENDAR_KINDS } from '../../record/calendar.ts';
import { derivation, drainFields } from './answers.ts';

const time = z.string().meta({ format: 'date-time' });
const utcTime = time.describe('UTC.');
const volume = z.number().optional();

const uncovered = z
  .array(
    z.enum([
      'unexplained-fall',
      'no-closing-level',
      'opening-not-stated',
      'level-rebased',
      'suspect-rise',
      'gap-too-long',
      'before-first-level',
      'after-last-level',
      'no-level',
    ]),
  )
  .describe('Why measured intervals do not cover all of the time in place; empty where they do.');

const times = {
  from: utcTime,
  to: utcTime,
  local_from: time.describe('As the clock on the wall shows it, with its offset.'),
  local_to: time,
  elapsed_h: z.number().describe('h, 3 decimals; a day may have 23 or 25.'),
};

const sum = {
  net_ml: z
    .number()
    .nullable()
    .describe('Drained + sampled - instilled, mL; 1 decimal where interpolated; null with its reason.'),
  reason: z.enum(['not-in-place', 'not-covered']).nullable().describe('Why there is no sum.'),
  at_least: z.boolean().describe('Part of the time in place is not covered: volumes are lower bounds.'),
  preliminary: z.boolean().describe('No level at or after its end counts yet.'),
  in_place_h: z.number().describe('h of the window that the drain was in place, 3 decimals.'),
  coverage: z
    .number()
    .nullable()
    .describe('Part of the time in place that measured intervals cover, 0 to 1, rounded down to 3 decimals.'),
  uncertainty_ml: z
    .number()
    .nullable()
    .optional()
    .describe(
      'Expanded, k = 2, reading error only (JCGM 100:2008), mL; null while graduations are not known.',
    ),
  low_confidence: z
    .boolean()
    .optional()
    .describe('For the eye only: the uncertainty is larger than the value.'),
  drained_ml: volume,
  sampled_ml: volume,
  instilled_ml: volume,
  net_low_ml: volume.describe('Net with intervals that an edge cuts left out, mL.'),
  net_high_ml: z
    .number()
    .nullable()
    .optional()
    .describe('Net with those counted whole, mL; null while not covered.'),
  interpolated: z.boolean().optional().describe('An edge cuts an interval, which is spread evenly.'),
  rate_ml_h: z
    .number()
    .nullable()
    .optional()
    .describe('Net per elapsed hour, mL/h, 1 decimal, half to even; null with its reason.'),
  rate_uncertainty_ml_h: z.number().nullable().optional().describe('As uncertainty_ml, mL/h.'),
  rate_reason: z.enum(['not-covered', 'not-in-place-throughout', 'window-too-short']).optional(),
};

export const calendar = z
  .object({
    zone: z.string().describe('IANA name of the time zone of the facility.'),
    day_start: z.string().describe('Local time at which the fluid-balance day starts.'),
    shift_starts: z.array(z.string()),
  })
  .meta({ id: 'Calendar', description: 'Configured: what hours, shifts and days are here.' });

const head = {
  derivation,
  calendar,
  kind: z.enum(CALENDAR_KINDS),
  from: utcTime.nullable().describe('Start of what was asked for, UTC; null while no level counts.'),
  to: utcTime.nullable(),
};

const window = z
  .object({ ...times, ...sum, uncovered })
  .meta({ id: 'CalendarWindow', description: 'Identified by drain, kind, UTC start and end, and zone.' });

export const windows = z
  .object({
    drain: drainFields.drain,
    as_of: utcTime.nullable().describe('The newest level that counts; null while there is none.'),
    ...head,
    windows: z.array(window).describe('In order of time.'),
  })
  .meta({ id: 'CalendarWindows' });

const patientWindow = z
  .object({
    ...times,
    ...sum,
    in_place_h: z.number().describe('h, over all drains: two in place for an hour are 2.'),
    incomplete: z
      .array(z.object({ drain: z.string(), reasons: uncovered }))
      .describe('Drains whose part is not covered; with any, the sum is a lower bound.'),
    drains: z
      .array(z.object({ drain: z.string(), ...sum, uncovered }))
      .describe('Those in place in any of the window.'),
  })
  .meta({ id: 'PatientWindow', description: 'Uncertainties of drains add in squares.' });

export const patientWindows = z
  .object({
    drain: drainFields.drain,
    patient: drainFields.patient.unwrap().nullable().describe('Null: the drain stands alone.'),
    drains: z.array(z.string()).describe('All drains of the patient that were placed.'),
    ...head,
    closed_together_at: utcTime
      .nullable()
      .describe('The last time that all its drains have a level for, UTC.'),
    windows: z.array(patientWindow).describe('In order of time.'),
  })
  .meta({ id: 'PatientWindows' });
