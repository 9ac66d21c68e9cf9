/** What is answered of rules, advisories and overdue readings, as schemas. */
import { z } from 'zod';
import { identifier } from '../../intake/native/common-schemas.ts';
import { derivation } from './answers.ts';

const time = z.string().meta({ format: 'date-time' });
const count = z.number().int().nonnegative();
const inUnit = 'in the unit of the rule';

export const rule = z
  .object({
    id: z.string(),
    title: z.string(),
    on: z.boolean().describe('A row from memory ships off.'),
    populations: z
      .array(z.enum(['adult', 'paediatric']))
      .nullable()
      .describe('Null: any.'),
    indications: z.array(z.string()).nullable().describe('Null: any.'),
    sites: z.array(z.string()).nullable().describe('Null: any.'),
    fluids: z.array(z.string()).nullable().describe('Characters of what drains; null: any.'),
    basis: z
      .enum(['one-tube', 'all-tubes'])
      .describe('Each tube by itself, or the sum of all of the patient.'),
    quantity: z
      .enum([
        'volume',
        'rate',
        'total-negativity',
        'imposed-below-ordered',
        'seal-below-fill',
        'chamber-fill',
        'leak-days',
        'output-stopping',
        'unexplained-fall',
        'swing-lost',
      ])
      .describe(
        '`volume`: over `window_h`. `rate`: in each of the last `consecutive_h` hours. Both of drained + sampled, and of net. `output-stopping`: below the threshold over `window_h`, after `steady_ml_h` or more over the `steady_h` before.',
      ),
    window_h: z.number().nullable().describe('Elapsed hours, rolling, ending at a level.'),
    consecutive_h: z.number().nullable().describe('Rolling hours, every one of which has to cross.'),
    steady_h: z.number().nullable().describe('Hours before the window.'),
    steady_ml_h: z.number().nullable().describe('Least rate in those hours, mL/h.'),
    operator: z.enum(['>', '>=', '<']).describe('As the source prints it.'),
    threshold: z.number().describe('In `unit`.'),
    unit: z.enum(['mL', 'mL/kg', 'mL/h', 'mL/kg/h', 'cm[H2O]', 'd', '1']).describe('UCUM.'),
    clock: z
      .object({
        origin: z.enum(['chest-closure', 'unit-arrival', 'injury', 'placement', 'none']),
        from_h: z.number(),
        to_h: z.number().nullable(),
      })
      .describe('Hours from the origin in which the rule holds; `to_h` null: it goes on.'),
    max_gap_h: z.number().describe('An edge inside a longer interval is not interpolated.'),
    source: z.string(),
    evidence: z.enum([
      'abstract or text seen',
      'secondary text',
      'from memory',
      'common practice, no source',
      'local',
    ]),
    changed: z.array(z.string()).describe('What local policy changed of the row as published.'),
  })
  .meta({ id: 'Rule', description: 'A published or local threshold. Configuration, never truth.' });

export const rules = z
  .object({
    version: z.string(),
    reading_every_h: z
      .object({ adult: z.number(), paediatric: z.number() })
      .describe('How often a reading is expected, h.'),
    rules: z.array(rule),
  })
  .meta({ id: 'RuleTable' });

const finding = z
  .object({
    at: time.describe('The level or reading.'),
    value: z
      .number()
      .nullable()
      .describe(
        `Drained + sampled, of several hours the least, or the pressure or fill; ${inUnit}, with enough digits to show the crossing; null where the rule has no number.`,
      ),
    net: z
      .number()
      .nullable()
      .describe(`Drained + sampled - instilled, ${inUnit}; null where it is no volume.`),
    uncertainty: z
      .number()
      .nullable()
      .describe(`Expanded, k = 2, reading error only (JCGM 100:2008), ${inUnit}; null where not known.`),
    crossed: z.boolean().describe('By the operator, on unrounded numbers.'),
    within_uncertainty: z.boolean().describe('The uncertainty leaves open whether it is crossed.'),
    at_least: z.boolean().describe('The value is a lower bound, and crosses as one.'),
    by: z
      .enum(['net-and-gross', 'gross-only'])
      .nullable()
      .describe('`gross-only`: drained + sampled crosses, net of what was instilled does not.'),
    instilled_ml: z.number().nullable(),
    weight_kg: z.number().nullable().describe('The weight it was divided by.'),
    water_to_add_cmh2o: z.number().nullable().describe('Depth of water that is lacking, cm.'),
    window: z.object({ from: time, to: time }).nullable(),
    entries: z.array(z.string()).describe('Ids of the entries behind it.'),
  })
  .meta({ id: 'AdvisoryFinding' });

const review = z
  .object({
    advisory: z.string().describe('Id that the review names.'),
    drain: z.string(),
    entry: z.string(),
    words: z.string(),
    author: z.object({
      type: z.enum(['person', 'device']),
      reference: z.string().optional(),
      identifier: identifier.optional(),
    }),
    at: time,
  })
  .meta({ id: 'AdvisoryReview' });

const advisory = z
  .object({
    id: z
      .string()
      .describe('Rule, subject and time of the level that raised it. A `reviewed` entry names it.'),
    rule,
    drains: z.array(z.string()),
    raised_at: time,
    ended_at: time
      .nullable()
      .describe('The first level surely below, the end of the stretch, or removal; null while it stands.'),
    raised: finding,
    peak: finding,
    newest: finding,
    reviews: z.array(review),
  })
  .meta({ id: 'Advisory', description: 'A threshold that the data crossed, for review. Not an alarm.' });

const notAssessable = z
  .object({
    rule: z.string(),
    title: z.string(),
    drains: z.array(z.string()),
    reason: z.string(),
    first_at: time
      .nullable()
      .describe('First level or reading where it is so; null where the reason holds throughout.'),
    last_at: time.nullable(),
    times: count.nullable().describe('Levels or readings where it is so.'),
    now: z.boolean().describe('Whether it is so at the newest one.'),
  })
  .meta({ id: 'NotAssessable', description: 'A rule that is for the drain and could not be decided.' });

const withdrawn = z
  .object({
    observation: z.string().describe('Id of its FHIR Observation, whose versions stay readable.'),
    rule: z.string(),
    title: z.string(),
    raised_at: time,
    withdrawn_at: time.describe('When the entry that withdrew it was recorded.'),
    reviews: z.array(review).describe('Who had reviewed it: they saw what is no longer given.'),
  })
  .meta({ id: 'WithdrawnAdvisory' });

export const drainAdvisories = z
  .object({
    drain: z.string(),
    derivation,
    rules_version: z.string(),
    as_of: time.nullable().describe('The newest entry of the chart; null while there is none.'),
    advisories: z.array(advisory).describe('Its own and those of its patient, standing and ended.'),
    withdrawn: z
      .array(withdrawn)
      .describe('Issued once, and no longer given after a correction or a late entry.'),
    not_assessable: z.array(notAssessable),
    reviews_of_none: z
      .array(review)
      .describe('Reviews of advisories that entries and rules no longer give, or never gave.'),
  })
  .meta({ id: 'DrainAdvisories' });

const page = { next_after: z.string().nullable().describe('Null on the last page.') };
export const advisoriesPage = z
  .object({ rules_version: z.string(), advisories: z.array(advisory), ...page })
  .meta({ id: 'AdvisoriesPage' });

const overdue = z
  .object({
    drain: z.string(),
    placed_at: time,
    last_reading_at: time.nullable().describe('The last counted reading; null before the first.'),
    age_h: z.number().describe('Since then, or since placement; 1 decimal.'),
    expected_every_h: z.number(),
  })
  .meta({ id: 'OverdueReading' });
export const overduePage = z
  .object({ as_of: time, overdue: z.array(overdue), ...page })
  .meta({ id: 'OverduePage' });
