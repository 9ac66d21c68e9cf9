/** Where a drain stands, as a schema: the newest of each value, and what its whole chart shows. */
import { z } from 'zod';
import { identifier } from '../../intake/native/common-schemas.ts';
import { derivation, drainFields, profile } from './answers.ts';
import { deviceType } from './device-answers.ts';
import { chartRow, standingNegativity } from './row-answers.ts';

const time = z.string().meta({ format: 'date-time' });
const noneYet = z.null();

const seen = z
  .object({
    entry: z.string().describe('Id of the entry that began the chain.'),
    effective_at: time,
  })
  .meta({ id: 'SeenIn', description: 'The entry that stands behind a value.' });

const suction = z
  .enum(['on', 'off', 'regulated'])
  .nullable()
  .describe(
    'Whether suction was imposed then: off on a gravity unit; regulated on an electronic one of which nothing is charted; null where it is not known.',
  );
const phase = z.enum(['none', 'forced-expiratory', 'expiratory', 'inspiratory', 'continuous']).nullable();
const scaleMax = z.number().nullable().describe('Top of the leak scale of the unit in use.');

const trendFields = {
  trend: z.enum(['falling', 'rising', 'constant', 'no-trend-shown']),
  reason: z
    .enum([
      'not-assessed',
      'leak-scale-not-known',
      'suction-state-not-charted',
      'fewer-than-5-hours',
      'not-significant',
      'swing-lost',
    ])
    .nullable()
    .describe('Why no trend is shown; `swing-lost`: the values fall while the swing was lost.'),
  from: time.nullable().describe('Start of the first of the 24 UTC clock hours.'),
  to: time.nullable().describe('The newest reading with such a value.'),
  compared: z
    .object({ leak_scale_max: scaleMax, suction, phase })
    .nullable()
    .describe('What the compared values have in common; `phase` null where none of them charts it.'),
  not_compared: z.number().int().describe('Readings of that time with such a value that are not alike.'),
  s: z.number().int().nullable().describe('Mann-Kendall S; null with fewer than 5 hours.'),
  p: z.number().nullable().describe('Two-sided, 4 digits; a trend is shown up to 0.05.'),
};
const gradeTrend = z
  .object({
    ...trendFields,
    worst_of_hours: z.array(z.object({ from: time, grade: z.number() })),
  })
  .meta({ id: 'LeakGradeTrend', description: 'Worst grade of each UTC clock hour, like with like only.' });
const flowTrend = z
  .object({
    ...trendFields,
    worst_of_hours: z.array(z.object({ from: time, flow_ml_min: z.number() })),
  })
  .meta({ id: 'LeakFlowTrend', description: 'Worst flow of each UTC clock hour, like with like only.' });

const leakFree = z
  .union([
    z.object({
      value_h: z.number().describe('Elapsed hours, 1 decimal, half to even.'),
      reason: noneYet,
      from: time.describe('First assessed absence.'),
      to: time.describe('Newest assessed absence: later time is not claimed.'),
      starts_after: z
        .enum(['leak', 'gap', 'nothing-assessed'])
        .describe('What came before; `gap`: longer between assessments than local policy allows.'),
      not_counted_h: z.number().describe('Time in between that is left out of the value, h.'),
      not_counted: z.array(z.enum(['clamped', 'swing-lost'])).describe('Why.'),
    }),
    z.object({
      value_h: noneYet,
      reason: z.enum(['not-assessed', 'leak-at-newest-assessment', 'swing-lost']),
      from: noneYet,
      to: noneYet,
      starts_after: noneYet,
    }),
  ])
  .meta({ id: 'LeakFreeTime', description: 'Time since a leak was last seen, open tube only.' });

const leakDays = z
  .union([
    z.object({
      value_d: z.number().describe('Elapsed days, 1 decimal, half to even.'),
      reason: noneYet,
      origin: z.enum(['chest_closed_at', 'placed_at']).describe('Which time of the drain `from` is.'),
      from: time,
      to: time,
      last_leak: seen,
    }),
    z.object({
      value_d: noneYet,
      reason: z.enum(['not-assessed', 'no-leak-seen', 'no-origin', 'leak-before-origin']),
      origin: noneYet,
      from: noneYet,
      to: noneYet,
    }),
  ])
  .meta({ id: 'LeakDays', description: 'Days from the named origin to the last leak seen.' });

export const overdue = z
  .object({ expected_every_h: z.number() })
  .nullable()
  .describe('Where the age is over what local policy expects. No reading is not 0 mL.');

export const leakSeen = seen
  .extend({
    leak: z.boolean(),
    grade: z.number().nullable(),
    leak_scale_max: scaleMax,
    flow_ml_min: z.number().nullable(),
    phase,
    suction,
  })
  .meta({ id: 'LeakSeen' });
const airLeak = z
  .object({
    newest: leakSeen
      .nullable()
      .describe('Newest reading of an open tube that assessed it; null while there is none.'),
    grade_trend: gradeTrend,
    flow_trend: flowTrend,
    leak_free: leakFree,
    leak_days: leakDays,
  })
  .meta({ id: 'AirLeakState', description: 'As of the newest reading that assessed a leak.' });

export const chamber = z
  .object({
    capacity_ml: z.number(),
    level_ml: z.number(),
    level_at: time,
    fill_fraction: z.number().describe('Level over capacity, 3 decimals, half to even.'),
    three_quarters_full: z
      .boolean()
      .describe('Level over capacity >= 0.75 (Royal Marsden manual, quoting Woodrow).'),
    time_to_full: z
      .object({
        value_h: z
          .number()
          .nullable()
          .describe(
            'Hours from the level, 1 decimal, half to even: room over the gross drained rate of the trailing 4 h, or of 1 h if faster; null with its reason.',
          ),
        low_h: z.number().nullable().describe('With an interval that the window cuts counted whole.'),
        high_h: z.number().nullable().describe('With that interval left out; null where there is no bound.'),
        reason: z.enum(['coverage-incomplete', 'no-drainage', 'no-rate-at-level', 'full']).nullable(),
        drained_rate_ml_h: z.number().optional().describe('Gross, mL/h, 1 decimal, half to even.'),
        rate_from: time.optional(),
        rate_to: time.optional(),
      })
      .meta({ id: 'TimeToFull', description: 'Were drainage to go on as over the time of the rate.' }),
  })
  .meta({ id: 'Chamber' });

const checked = z
  .object({
    status: z.enum(['done', 'missing', 'not-applicable']),
    shown_by: seen.nullable().describe('Null where nothing charted bears on it.'),
  })
  .meta({ id: 'CheckedItem', description: 'The newest entry that bears on it decides.' });
const setUpCheck = z
  .object({
    unit: seen.describe('The set-up or unit change that attached the unit.'),
    seal_filled: checked,
    suction_proven: checked.describe(
      'Wet: bubbling, with a column; dry: indicator in range, with a dial. Not applicable where none is ordered or on.',
    ),
    connections_checked: checked,
  })
  .meta({ id: 'SetUpCheck', description: 'What was charted of setting up the unit in use.' });

const swingSeen = seen.extend({ suction }).meta({ id: 'SwingSeen' }).nullable();
const patency = z
  .object({
    swing: z.enum(['present', 'absent']).nullable().describe('In the newest reading that assessed it.'),
    swing_lost: z.boolean().nullable().describe('Present earlier, absent now; null with its reason.'),
    reason: z.enum(['not-assessed', 'mediastinal-site']).nullable(),
    newest_present: swingSeen,
    newest_absent: swingSeen,
  })
  .meta({
    id: 'Patency',
    description:
      'Swing of an open tube. A lung that is up, a blocked tube and suction that damps it look alike.',
  });

const agedRow = chartRow
  .extend({
    age_s: z.number().int().describe('Seconds from its time to `as_of`; negative where a clock ran ahead.'),
  })
  .nullable();
const inUse = 'Null once the drain is removed.';
export const state = z
  .object({
    ...drainFields,
    derivation,
    as_of: time,
    unit: profile.nullable().describe(inUse),
    level_ml: z
      .number()
      .nullable()
      .describe(`Last level on the scale in use, mL; null while none is known. ${inUse}`),
    fill_fraction: z.number().nullable().describe(`Level over capacity, 3 decimals. ${inUse}`),
    suction_source: z.enum(['on', 'off']).nullable().describe(inUse),
    clamped_since: time.nullable().describe(inUse),
    total_negativity: standingNegativity.nullable().describe(`Null while none was read. ${inUse}`),
    chamber: chamber.nullable().describe(`Null while unit or level is not known. ${inUse}`),
    set_up_check: setUpCheck.nullable().describe(`Null while no unit is attached. ${inUse}`),
    patency: patency.nullable().describe(inUse),
    devices: z
      .array(z.object({ device: z.string(), identifier, type: deviceType, since: time }))
      .describe('Registered devices that are on the drain at `as_of`.'),
    drains_of_patient: z
      .array(z.object(drainFields).pick({ drain: true, site: true, tubes: true, removed_at: true }))
      .describe('Other drains that are linked to its patient now, as far as the client reaches them.'),
    air_leak: airLeak,
    overdue,
    last_reading: agedRow,
    last_volumes: agedRow.describe('The last row with an interval. Silence shows as age, never as 0 mL.'),
    last_total_negativity: agedRow.describe('The newest reading that bears on it, of whichever unit.'),
  })
  .meta({ id: 'State' });
