/** The overview as answered, as schemas. */
import { z } from 'zod';
import { drainFields, profile } from './answers.ts';
import { cumulative, interval, standingNegativity, window } from './row-answers.ts';
import { chamber, leakSeen, overdue } from './state-answers.ts';

const time = z.string().meta({ format: 'date-time' });

const advisory = z
  .object({
    id: z.string().describe('A `reviewed` entry names it.'),
    rule: z.string(),
    title: z.string(),
    raised_at: time,
    value: z.number().nullable().describe('As it was found last, in `unit`.'),
    unit: z.string().describe('UCUM.'),
    operator: z.string(),
    threshold: z.number(),
    within_uncertainty: z.boolean(),
    at_least: z.boolean(),
    reviewed: z.boolean(),
  })
  .meta({ id: 'StandingAdvisory', description: 'For review by a clinician; not an alarm.' });

const row = z
  .object({
    ...drainFields,
    unit: profile.nullable(),
    level_ml: z.number().nullable().describe('Last level on the scale in use, mL.'),
    chamber: chamber.nullable(),
    suction_source: z.enum(['on', 'off']).nullable(),
    clamped_since: time.nullable(),
    last_reading_at: time.nullable(),
    age_s: z
      .number()
      .int()
      .describe('Seconds since the last counted reading, before the first since placement, to `as_of`.'),
    overdue,
    last_interval: interval.nullable(),
    cumulative: cumulative.nullable(),
    windows: z.array(window).describe('Trailing hours before the last level.'),
    total_negativity: standingNegativity.nullable(),
    air_leak: leakSeen.nullable().describe('Newest reading of an open tube that assessed it.'),
    swing: z.enum(['present', 'absent']).nullable(),
    advisories: z.array(advisory).describe('Standing ones, of the drain and of all drains of its patient.'),
  })
  .meta({ id: 'OverviewRow' });

export const overview = z
  .object({
    as_of: time,
    open: z.number().int().describe('How many drains are open.'),
    drains: z.array(row),
    next_after: z.string().nullable().describe('Null on the last page.'),
  })
  .meta({ id: 'Overview' });
