/** One row of a chart as answered: what was charted at a time, its marks, and what follows from it. */
import { z } from 'zod';
import type { Mark } from '../../domain/fold/marks.ts';
import { identifier } from '../../intake/native/common-schemas.ts';
import { ALL_KINDS } from '../../intake/native/schemas.ts';

const MARKS = {
  'before-placement': 'left out: earlier than the placement of the drain',
  'after-removal': 'left out: later than the removal of the drain',
  'above-capacity': 'the level is left out: over the capacity of the unit',
  'beyond-leak-scale': 'the grade is left out: beyond the leak scale of the unit',
  'conflicting-levels': 'the levels of the instant are left out: over one graduation apart',
  'level-of-neither-run':
    'the level is left out: near neither the closing nor the opening level of its minute',
  'time-in-question': 'left out: a clock ran ahead; correct the entry to confirm its time',
  'finer-than-graduations': 'counted: finer than the chamber can be read',
  'sudden-jump': 'counted: a large rise in a short time',
  'clock-skew': 'counted: its time is a little ahead of the service',
  'possible-double-entry': 'counted: the same level again shortly after, under another identifier',
  'suction-without-bubbling': 'counted: suction is on and the wet column does not bubble',
} as const satisfies Readonly<Record<Mark, string>>;

const mark = z.enum(Object.keys(MARKS) as [Mark, ...Mark[]]).meta({
  id: 'Mark',
  description: `What is odd about an entry; a later entry may clear it. ${Object.entries(MARKS)
    .map(([name, text]) => `\`${name}\`: ${text}.`)
    .join(' ')}`,
});

const time = z.string().meta({ format: 'date-time' });
const volume = z.number().describe('mL.');
const perHour = z.number().nullable().describe('mL/h, 1 decimal, half to even; null with its reason.');

const error = z
  .number()
  .nullable()
  .describe(
    'Expanded uncertainty, k = 2, reading error only (JCGM 100:2008), in the unit of its name; null while the graduations are not known.',
  );
const doubt = z
  .boolean()
  .describe('For the eye only: the uncertainty is larger than the value. It decides nothing.');

export const interval = z
  .object({
    from: time,
    to: time,
    status: z
      .enum(['measured', 'at-least', 'indeterminate'])
      .describe('`at-least`: volumes are lower bounds. `indeterminate`: drained is not known.'),
    reason: z.string().nullable().describe('Why it is not measured.'),
    suspect: z
      .boolean()
      .describe(
        'A later fall that nothing explains contradicts its rise, or it comes back to the level of before such a fall.',
      ),
    net_ml: z
      .number()
      .nullable()
      .describe('Drained + sampled - instilled, mL; negative after a flush that has not come back.'),
    uncertainty_ml: error,
    low_confidence: doubt,
    drained_ml: z.number().nullable().describe('mL; null while indeterminate, never 0 for not known.'),
    sampled_ml: volume,
    instilled_ml: volume,
    rate_ml_h: perHour,
    rate_uncertainty_ml_h: error.optional(),
    rate_reason: z.string().optional(),
    open_time_rate_ml_h: perHour.optional(),
    open_time_rate_reason: z.string().optional(),
    rate_ml_kg_h: z.number().nullable().optional().describe('mL/kg/h, 2 decimals; null with its reason.'),
    rate_uncertainty_ml_kg_h: error.optional(),
    rate_ml_kg_h_reason: z.string().optional(),
    weight_kg: z.number().optional().describe('The weight that the rate was divided by, kg.'),
  })
  .meta({ id: 'Interval', description: 'The time between two levels. Rates are net, per wall-clock hour.' });

export const cumulative = z
  .object({
    from: time,
    net_ml: z
      .number()
      .nullable()
      .describe(
        'Since `from`, mL: a total, or with `at_least` a lower bound; null while an interval is unknown or in doubt.',
      ),
    at_least: z.boolean(),
    uncertainty_ml: error,
    sum_of_measured_intervals_ml: volume.describe(
      'Intervals that are unknown or in doubt left out; not a total while `reasons` is not empty, mL.',
    ),
    drained_ml: volume,
    sampled_ml: volume,
    instilled_ml: volume,
    in_doubt_ml: volume.describe('Drained in suspect intervals, in none of the sums, mL.'),
    reasons: z.array(z.string()).describe('Why it is not a total.'),
  })
  .meta({ id: 'Cumulative' });

export const window = z
  .object({
    hours: z.number().int(),
    from: time,
    to: time,
    net_ml: volume.describe('Drained + sampled - instilled, mL; 1 decimal where interpolated.'),
    at_least: z.boolean().describe('Part of the time is not covered: volumes are lower bounds.'),
    uncertainty_ml: error,
    low_confidence: doubt,
    drained_ml: volume,
    sampled_ml: volume,
    instilled_ml: volume,
    net_low_ml: volume.describe('Whole intervals only, mL.'),
    net_high_ml: z.number().nullable().describe('A cut interval counted whole, mL; null while not covered.'),
    coverage: z
      .number()
      .describe('Part of the time that measured intervals cover, 0 to 1, rounded down to 3 decimals.'),
    interpolated: z.boolean(),
  })
  .meta({
    id: 'Window',
    description:
      'Trailing hours before the level of the row; what is put in or sampled at an edge counts after it.',
  });

const pressure = z.number().nullable();
const negativity = z
  .object({
    value_cmh2o: pressure.describe(
      'Positive magnitude below atmosphere, cm H2O; null with range and reason.',
    ),
    low_cmh2o: pressure.optional(),
    high_cmh2o: pressure.optional().describe('Null where the top is not known.'),
    reason: z.string().optional(),
  })
  .meta({ id: 'TotalNegativity', description: 'Imposed suction + seal part, all from this reading.' });

export const standingNegativity = negativity
  .extend({
    at: z
      .string()
      .meta({ format: 'date-time' })
      .describe('When it was read; of what is not known since, when it was changed.'),
    reason: z
      .string()
      .optional()
      .describe(
        'As of a reading; or `unit-attached-since`, `suction-changed-since`, `seal-adjusted-since`, `negativity-vented-since`: charted after the newest reading that bears on it, which says nothing of what it is now.',
      ),
  })
  .meta({ id: 'StandingNegativity', description: 'Total negativity as it stands.' });

export const row = z
  .object({
    entry: z.string().describe('Id of the entry that began the chain: it names the row for ever.'),
    identifier,
    kind: z.enum(ALL_KINDS),
    effective_at: time,
    marks: z.array(mark),
    counted: z.boolean().describe('False while a mark keeps the whole entry out of the arithmetic.'),
    left_out: z
      .array(z.enum(['level', 'opening', 'closing']))
      .describe('Levels that a mark keeps out of the arithmetic while the rest of the entry counts.'),
    interval: interval.optional(),
    since_reading: interval
      .optional()
      .describe('Since the previous reading, where a unit change lies between.'),
    cumulative: cumulative.optional(),
    windows: z.array(window).optional(),
    total_negativity: negativity.optional(),
  })
  .meta({ id: 'Row' });

/** A row of a chart: with what was charted. */
export const chartRow = row
  .extend({
    charted: z
      .looseObject({})
      .describe(
        'The fields of the entry as they now stand, as plain numbers; the digits as sent are in the entries.',
      ),
    note: z.string().nullable(),
    author: z.looseObject({ type: z.enum(['person', 'device']) }).describe('Who charted what now stands.'),
    correction: z
      .string()
      .nullable()
      .describe('Why it stands in the place of an earlier content, if it does.'),
  })
  .meta({ id: 'ChartRow' });

/** A row of the chart of what stands now. */
export const standingRow = chartRow
  .extend({
    leak_scale_max: z.number().nullable().describe('Top of the leak scale of the unit that was in use.'),
    newest_identifier: identifier.describe('Of the newest form of the entry: what a correction must name.'),
  })
  .meta({ id: 'StandingRow' });
