/** The configuration as answered, as schemas. */
import { z } from 'zod';
import { rule, rules } from './advisory-answers.ts';
import { profile } from './answers.ts';

const time = z.string().meta({ format: 'date-time' });
const ms = z.number().describe('ms');

const settings = z
  .object({
    version: z.string(),
    min_rate_interval_ms: ms.describe('A shorter interval has no rate, ms.'),
    max_gap_ms: ms.describe('A window edge inside a longer interval is not interpolated, ms.'),
    max_weight_age_ms: z
      .object({ adult: ms, paediatric: ms })
      .describe('How old a weight may be to index a rate, ms.'),
    trailing_hours: z.array(z.number()).describe('Trailing windows, elapsed h.'),
    sudden_jump: z
      .object({ microlitres: z.number(), within_ms: ms })
      .describe('A rise of more than this, sooner than this, is marked.'),
    double_entry_ms: ms.describe(
      'The same level again within this time may be one reading charted twice, ms.',
    ),
    clock_skew_ms: ms.describe('How far a clock may run ahead before its time is marked, ms.'),
    max_future_ms: ms.describe(
      'How far ahead a time may be before it is refused, or of a device in question, ms.',
    ),
  })
  .meta({ id: 'DerivationSettings' });

const configuredRule = rule
  .extend({
    window_h: z
      .number()
      .optional()
      .describe('Of a volume, or of output that stops: elapsed hours, rolling, ending at a level.'),
    consecutive_h: z
      .number()
      .optional()
      .describe('Of a rate: rolling hours, every one of which has to cross.'),
    steady_h: z.number().optional().describe('Of output that stops: hours before the window.'),
    steady_ml_h: z.number().optional().describe('Of output that stops: least rate in those hours, mL/h.'),
  })
  .meta({ id: 'ConfiguredRule', description: 'A row as it was recorded: numbers with their digits.' });

const timeOfDay = z.string().describe('Local time of day, such as 07:00.');

const document = z
  .object({
    algorithm: z.string().describe('Version of the arithmetic.'),
    settings,
    profiles: z.array(profile).describe('By id.'),
    rules: rules.extend({ rules: z.array(configuredRule) }).meta({ id: 'ConfiguredRuleTable' }),
    calendar: z.object({
      zone: z.string().describe('Name in the IANA time zone database.'),
      day_start: timeOfDay,
      shift_starts: z.array(timeOfDay),
    }),
    terminology: z
      .object({
        snomed: z.boolean().describe('Whether Observations carry SNOMED CT codings.'),
        categories: z.record(z.string(), z.string()).describe('Category of a fact, where not the usual one.'),
      })
      .optional()
      .describe('How facts are coded for the record; absent in versions before it could be chosen.'),
    hl7v2: z
      .looseObject({
        version: z.string(),
        drain: z.object({ field: z.string(), system: z.string() }),
        observations: z.array(
          z.object({
            code: z.string(),
            system: z.string(),
            reads: z.string().nullable().describe('What is read under the code; null: it is passed over.'),
          }),
        ),
        units: z.array(z.object({ code: z.string(), system: z.string(), ucum: z.string() })),
      })
      .meta({ id: 'MessageMapping' })
      .optional()
      .describe('How HL7 v2 messages are read; absent where none are taken.'),
  })
  .meta({ id: 'Configuration', description: 'All that derived values depend on beside the entries.' });

export const version = z
  .object({
    sequence: z.number().int().positive().describe('Number of the version, from 1.'),
    from: time.describe('When it was recorded: it counts from then until the next, UTC.'),
    hash: z.string().describe('SHA-256 that chains the version to the one before it.'),
    document,
  })
  .meta({ id: 'ConfigurationVersion' });

export const versions = z
  .object({ versions: z.array(version).describe('Oldest first. The first counts for times before it too.') })
  .meta({ id: 'ConfigurationVersions' });
