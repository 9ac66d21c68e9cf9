/** What the native API answers, as schemas: the API reference is made from them, and the tests hold answers to them. */
import { z } from 'zod';
import { identifier } from '../../intake/native/common-schemas.ts';
import { ALL_KINDS } from '../../intake/native/schemas.ts';
import { type AnswerDoc, json } from '../route-doc.ts';
import { row } from './row-answers.ts';

const time = z.string().meta({ format: 'date-time' });
const count = z.number().int().nonnegative();

export const derivation = z
  .object({ algorithm: z.string(), settings: z.string() })
  .meta({ id: 'Derivation', description: 'Versions of the arithmetic and of its settings.' });

const changedAdvisory = {
  id: z.string().describe('A `reviewed` entry names it.'),
  rule: z.string(),
  title: z.string(),
  drains: z.array(z.string()),
  raised_at: time,
  ended_at: time.nullable(),
  value: z.number().nullable().describe('What raised it, in `unit`.'),
  unit: z.string().describe('UCUM.'),
  within_uncertainty: z.boolean(),
};
const advisoryChanges = z
  .object({
    raised: z.array(z.object(changedAdvisory)),
    ended: z.array(z.object(changedAdvisory)),
    withdrawn: z.array(
      z.object({
        ...changedAdvisory,
        reviewed_by: z
          .array(z.string())
          .describe('Entries by which it had been reviewed: tell who reviewed it.'),
      }),
    ),
  })
  .meta({ id: 'AdvisoryChanges', description: 'For review by a clinician; not an alarm.' });

export const receipt = z
  .object({
    drain: z.string(),
    device: z.string().optional().describe('Id of the device that the entry named.'),
    sequence: count.describe('Place of the entry in the ledger of its drain, from 1.'),
    entry: z.string().describe('Id made from the identifier: the same in every ledger that holds the entry.'),
    identifier,
    kind: z.enum(ALL_KINDS),
    recorded_at: time.describe('Clock of the service, UTC.'),
    late: z.boolean().describe('Whether something later was charted before it came.'),
    interim: z
      .literal(true)
      .optional()
      .describe(
        "A device's reading between two that are charted: kept, with what would follow from it, and neither charted nor issued.",
      ),
    derivation,
    derived: row.nullable().describe('What the entry says and gives; null where it withdraws.'),
    advisories: advisoryChanges
      .optional()
      .describe(
        'What the entry changed of advisories, of the drain and of its patient; absent where nothing.',
      ),
    observations: count.describe('How many FHIR Observations it issued, re-issues included.'),
  })
  .meta({ id: 'Receipt', description: 'The same for every resend of the same message.' });

export const unmatchedReceipt = z
  .object({
    drain: z.string().nullable().describe('Null: the device was on none. A correction may have found one.'),
    device: z.string().describe('Id of the device that the entry named.'),
    sequence: count.describe('Place of the entry among those that matched no drain when they came, from 1.'),
    entry: z.string(),
    identifier,
    kind: z.enum(ALL_KINDS),
    recorded_at: time,
  })
  .meta({
    id: 'UnmatchedReceipt',
    description: 'Kept, on disk before this answer left: it counts once an assignment covers it.',
  });

export const dryRun = z
  .object({ dry_run: z.literal(true), receipt: z.union([receipt, unmatchedReceipt]) })
  .meta({
    id: 'DryRun',
    description: 'What the entry would be answered if it were sent. Nothing was written.',
  });

export const actReceipt = z
  .object({
    device: z.string(),
    sequence: count.describe('Place of the entry in the stream of the device, from 1.'),
    entry: z.string(),
    identifier,
    kind: z.enum(['registered', 'assigned', 'retired', 'closed', 'corrected', 'entered-in-error']),
    recorded_at: time,
    moved: z
      .array(z.object({ drain: z.string(), entered: count, left: count }))
      .describe(
        'How many entries of the device count for each drain because of this, and how many no longer.',
      ),
  })
  .meta({ id: 'DeviceReceipt' });

const fault = z
  .object({
    pointer: z
      .string()
      .describe('JSON pointer into the message; ?name for a query parameter; a header by its name.'),
    value: z
      .string()
      .optional()
      .describe('What stands there, as JSON, shortened; absent where nothing does.'),
    detail: z.string().describe('What is wrong with it.'),
    mend: z.string().describe('What to send instead.'),
  })
  .meta({ id: 'Fault' });

const problem = z
  .object({
    type: z.string().describe('Names the kind of problem: urn:drainledger:problem:…'),
    title: z.string(),
    status: z.number().int(),
    detail: z.string(),
    errors: z.array(fault).optional(),
    first: z
      .union([receipt, unmatchedReceipt, actReceipt])
      .optional()
      .describe(
        'Where an identifier was used twice: the answer to its first message, unless the client is confined and that is of others.',
      ),
  })
  .meta({ id: 'Problem', description: 'RFC 9457 problem details. Nothing was written.' });

const outcome = z.union([
  z.object({
    status: z.number().int(),
    result: z.union([receipt, unmatchedReceipt, z.array(z.union([receipt, unmatchedReceipt]))]),
  }),
  z.object({ status: z.number().int(), problem }),
]);
export const outcomes = z
  .object({ outcomes: z.array(outcome).describe('One an item, in the order of the items.') })
  .meta({ id: 'BatchOutcomes' });

/** Of a line, or the last one, which counts them. */
export const lineResult = z
  .union([
    z.object({
      line: count,
      status: z.number().int(),
      result: z
        .union([receipt, unmatchedReceipt, z.array(z.union([receipt, unmatchedReceipt]))])
        .nullable()
        .optional(),
    }),
    z.object({ line: count, status: z.number().int(), problem }),
    z.object({
      lines: count,
      recorded: count,
      unmatched: count.describe('Kept, though their device was on no drain: GET /v1/unmatched lists them.'),
      repeated: count.describe('Recorded before.'),
      refused: count,
    }),
    z.object({ lines: count, dry_run: z.literal(true), acceptable: count, refused: count }),
  ])
  .meta({ id: 'LineResult' });

const reference = z.object({ reference: z.string().optional(), identifier: identifier.optional() });
export const drainFields = {
  drain: z.string(),
  patient: reference.optional(),
  encounter: reference.optional(),
  population: z.enum(['adult', 'paediatric']).optional(),
  indication: z.string().optional(),
  chest_closed_at: time.optional(),
  unit_arrived_at: time.optional(),
  injured_at: time.optional(),
  site: z.string().nullable().describe('Null where no placement stands.'),
  tubes: z.array(z.string()),
  placed_at: time.nullable(),
  removed_at: time.nullable(),
  entries: count.describe('Sequence number of the newest entry.'),
};
export const drain = z.object(drainFields).meta({ id: 'Drain' });
export const drainsPage = z
  .object({ drains: z.array(drain), next_after: z.string().nullable().describe('Null on the last page.') })
  .meta({ id: 'DrainsPage' });

export const profile = z
  .object({
    id: z.string(),
    kind: z.enum(['gravity', 'wet-suction', 'dry-suction', 'electronic']),
    capacity_ml: z.number(),
    graduations: z
      .array(z.object({ up_to_ml: z.number(), mark_ml: z.number() }))
      .describe('Up to `up_to_ml` the chamber has a mark every `mark_ml`.'),
    leak_scale_max: z.number().optional(),
    seal_fill_cmh2o: z.number().optional(),
    seal_reading_includes_fill: z.boolean(),
    seal_fill_counts: z.boolean().describe('Whether the fill depth counts as negativity: local convention.'),
    charted_every_min: z
      .number()
      .optional()
      .describe('How often what a device reads is charted, min; in between it is interim. Absent: all is.'),
  })
  .meta({ id: 'UnitProfile' });
export const unitProfiles = z.object({ profiles: z.array(profile) });

export const about = z.object({
  service: z.string(),
  cautions: z.array(z.string()),
  api_reference: z.string(),
});

/** Answers that are problems, by status; any other status is one too. */
export function problems(texts: Readonly<Record<number, string>>): Readonly<Record<string, AnswerDoc>> {
  const all = Object.entries({ ...texts, default: 'Any other problem.' });
  return Object.fromEntries(
    all.map(([status, text]) => [status, { ...json(text, problem), mediaType: 'application/problem+json' }]),
  );
}
