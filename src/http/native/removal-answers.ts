/** Removal evidence as answered, as schemas. */
import { z } from 'zod';
import { derivation, drainFields } from './answers.ts';

const time = z.string().meta({ format: 'date-time' });
const character = z.enum(['serous', 'serosanguineous', 'sanguineous', 'chylous', 'purulent', 'other']);

const volumeLimit = z
  .object({ operator: z.enum(['<', '<=']), threshold: z.number(), unit: z.enum(['mL', 'mL/kg']) })
  .meta({ id: 'RemovalVolumeLimit', description: 'Of what came in the trailing 24 elapsed hours.' });
const flowLimit = z
  .object({ operator: z.literal('<'), threshold_ml_min: z.number(), longer_than_h: z.number() })
  .meta({ id: 'RemovalFlowLimit' });
const fluidLimit = z
  .object({ met_by: z.array(character), not_met_by: z.array(character) })
  .meta({ id: 'RemovalFluidLimit', description: 'Of other characters the source says nothing.' });

const policy = z
  .object({
    id: z.string(),
    source: z.string(),
    year: z.number().int(),
    setting: z.string(),
    population: z.enum(['adult', 'paediatric']),
    indication: z.string(),
    sites: z.array(z.string()),
    volume: volumeLimit.nullable().describe('Null: the source sets no limit.'),
    air_leak: z.union([z.literal('none'), flowLimit]),
    fluid: fluidLimit.nullable(),
    remarks: z.array(z.string()),
  })
  .meta({ id: 'RemovalPolicy', description: 'A published figure with its source; none is a default.' });

export const removalPolicies = z.object({ policies: z.array(policy) });

const common = {
  status: z.enum(['met', 'not-met', 'not-known']),
  entries: z.array(z.string()).describe('Ids of the entries that stand behind it.'),
};
const reason = <T extends readonly [string, ...string[]]>(reasons: T) =>
  z.enum(reasons).nullable().describe('Why it is not known.');
const conditionReason = reason([
  'not-assessed',
  'assessed-too-long-ago',
  'swing-lost',
  'clamped',
  'gap-too-long',
  'shown-for-too-short',
  'not-named-by-the-source',
]);

const value = z
  .object({
    value: z
      .number()
      .describe('In the unit of the limit: mL exact, 1 decimal where interpolated; mL/kg 2 decimals.'),
    uncertainty: z
      .number()
      .nullable()
      .describe('Expanded, k = 2, reading error only; null while graduations are not known.'),
  })
  .nullable();

const volume = z
  .object({
    criterion: z.literal('volume'),
    ...common,
    reason: reason([
      'no-level',
      'not-in-place-throughout',
      'not-covered',
      'uncertainty-not-known',
      'within-uncertainty',
      'net-and-drained-differ',
      'assessed-too-long-ago',
      'no-weight',
      'weight-too-old',
      'population-not-stated',
    ]),
    limit: volumeLimit,
    net: value.describe('Drained + sampled - instilled; null with its reason.'),
    drained_and_sampled: value,
    from: time.optional(),
    to: time
      .optional()
      .describe(
        'The newest level that counts; over 24 h before what was charted last, it no longer meets a limit.',
      ),
    instilled_ml: z.number().optional(),
    at_least: z.boolean().optional().describe('Lower bounds: they never meet a limit.'),
    interpolated: z.boolean().optional(),
    weight_kg: z.number().optional().describe('What the volumes were divided by, kg.'),
  })
  .meta({
    id: 'RemovalVolume',
    description:
      'Met only if net and drained + sampled both meet the limit by more than their uncertainty; not met if neither does.',
  });
const leak = z
  .object({
    criterion: z.literal('air-leak'),
    ...common,
    reason: conditionReason,
    leak: z.boolean().nullable().describe('As the newest reading of an open tube that assessed it shows.'),
  })
  .meta({ id: 'RemovalLeak' });
const flow = z
  .object({
    criterion: z.literal('air-flow'),
    ...common,
    reason: conditionReason,
    limit: flowLimit,
    flow_ml_min: z.number().nullable().describe('Newest, mL/min; the error of the meter is not known.'),
    below_for_h: z
      .number()
      .nullable()
      .describe('Up to the newest reading of it, h, 1 decimal, half to even.'),
  })
  .meta({ id: 'RemovalFlow' });
const fluid = z
  .object({
    criterion: z.literal('fluid'),
    ...common,
    reason: conditionReason,
    limit: fluidLimit,
    character: character.nullable().describe('The newest charted.'),
  })
  .meta({ id: 'RemovalFluid' });

export const removalEvidence = z
  .object({
    drain: drainFields.drain,
    derivation,
    policy,
    scope: z
      .array(
        z.object({
          about: z.enum(['population', 'indication', 'site']),
          policy: z.array(z.string()),
          drain: z.string().nullable(),
          status: z.enum(['same', 'differs', 'not-stated']),
        }),
      )
      .describe('How the drain stands to whom the policy was published for.'),
    criteria: z
      .array(z.union([volume, leak, flow, fluid]))
      .describe('Empty where the drain differs from the scope, or its population is not stated.'),
    outstanding: z
      .array(z.enum(['imaging', 'clinician']))
      .describe('What no entry shows, whatever the criteria say.'),
  })
  .meta({ id: 'RemovalEvidence', description: 'What was measured, for review; not a recommendation.' });
