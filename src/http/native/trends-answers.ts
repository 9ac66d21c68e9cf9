/** Trends as answered, as schemas. */
import { z } from 'zod';
import { BUCKETS, SERIES_NAMES } from '../../record/trends/point.ts';
import { derivation, drainFields } from './answers.ts';
import { calendar } from './calendar-answers.ts';

const time = z.string().meta({ format: 'date-time' });
const utcTime = time.describe('UTC.');
const number = z.number().nullable();

const point = z
  .object({
    from: utcTime,
    to: utcTime.describe('UTC; as `from` where it is said of a moment.'),
    local_from: time.describe('As the clock on the wall shows it, with its offset.'),
    local_to: time,
    value: number.describe('In the unit of the series, rounded once, half to even; null with its reasons.'),
    reasons: z
      .array(z.string())
      .describe('Why there is no value, or why it is a lower bound; empty for a plain value.'),
    low: number.describe(
      'Least it may be: an unproven pressure, a cut interval left out, the lowest reading of a bucket, the sum of what could be measured.',
    ),
    high: number.describe('Most it may be; null where nothing bounds it.'),
    uncertainty: number.describe(
      'Expanded, k = 2, reading error only (JCGM 100:2008); null where not known.',
    ),
    coverage: number.describe(
      'Part of the time in place that measured intervals cover, 0 to 1, rounded down to 3 decimals; null for what is read at moments.',
    ),
    at_least: z.boolean().describe('The value is a lower bound.'),
    flags: z
      .array(z.enum(['suspect', 'low-confidence', 'preliminary', 'interpolated']))
      .describe('For the eye only; they decide nothing.'),
    readings: z
      .number()
      .int()
      .nullable()
      .describe('How many readings stand behind it; null for what is summed over time.'),
    scale_max: number.describe('Top of the scale that a leak grade is of.'),
  })
  .meta({ id: 'TrendPoint', description: 'What is known over a time, or at a moment. A gap is no 0.' });

const series = z
  .array(
    z.object({
      name: z.enum(SERIES_NAMES as [string, ...string[]]),
      unit: z.string().describe('UCUM.'),
      points: z.array(point).describe('In order of time; one a bucket, or one a row.'),
    }),
  )
  .meta({ id: 'TrendSeries' });

const head = {
  drain: drainFields.drain,
  derivation,
  calendar,
  bucket: z.enum(BUCKETS),
  as_of: utcTime.nullable().describe('The newest statement; null while there is none.'),
  from: utcTime.nullable(),
  to: utcTime.nullable(),
};

export const trends = z.object({ ...head, series }).meta({ id: 'Trends' });

export const patientTrends = z
  .object({
    ...head,
    patient: drainFields.patient.unwrap().nullable().describe('Null: the drain stands alone.'),
    series: series.describe('Over all its drains together: net, cumulative and rates, in buckets.'),
    drains: z
      .array(z.object({ drain: z.string(), site: drainFields.site, series }))
      .describe('Each of its drains by itself.'),
  })
  .meta({ id: 'PatientTrends' });
