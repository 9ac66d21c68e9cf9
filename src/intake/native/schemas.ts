/** What may be posted, as zod schemas: every field known, none coerced. The OpenAPI document is made from these. */
import { z } from 'zod';
import { common, identifier, instant, note, reason, referenceTo, words } from './common-schemas.ts';
import {
  flowMlMin,
  MEND,
  pressureMagnitude,
  signedPressure,
  volumeMl,
  weightKg,
  wholeNumber,
} from './quantity.ts';

const drainFacts = {
  patient: referenceTo('Patient').optional(),
  encounter: referenceTo('Encounter').optional(),
  population: z.enum(['adult', 'paediatric']).optional(),
  indication: z
    .enum(['cardiac-surgery', 'thoracic-surgery', 'trauma', 'pneumothorax', 'effusion', 'other'])
    .optional(),
  chest_closed_at: instant.optional(),
  unit_arrived_at: instant.optional(),
  injured_at: instant.optional(),
};

const suction = z
  .strictObject({
    source: z.enum(['on', 'off']).optional(),
    column_cmh2o: pressureMagnitude.optional(),
    dial_cmh2o: pressureMagnitude.optional(),
    ordered_cmh2o: pressureMagnitude.optional(),
    bubbling: z.enum(['none', 'gentle', 'vigorous']).optional(),
    indicator: z.enum(['in-range', 'out-of-range', 'not-assessed']).optional(),
  })
  .meta({
    id: 'Suction',
    description: 'What is shown and ordered. Only what is proven enters total negativity.',
  });

const seal = z
  .strictObject({
    level_cmh2o: pressureMagnitude.optional(),
    swing_low_cmh2o: pressureMagnitude.optional(),
    swing_high_cmh2o: pressureMagnitude.optional(),
  })
  .refine(
    ({ swing_low_cmh2o: low, swing_high_cmh2o: high }) =>
      low === undefined || high === undefined || low.thousandths <= high.thousandths,
    { error: `has a swing whose low is above its high${MEND}send the lower one as swing_low_cmh2o` },
  )
  .meta({
    id: 'Seal',
    description: 'Height of the water-seal column: still, or the low and high of its swing.',
  });

const airLeak = z
  .strictObject({
    grade: wholeNumber.optional(),
    phase: z.enum(['none', 'forced-expiratory', 'expiratory', 'inspiratory', 'continuous']).optional(),
    flow_ml_min: flowMlMin.optional(),
  })
  .meta({ id: 'AirLeak', description: 'Grades of different scales are not comparable.' });

const attachedUnit = {
  profile: words(64).meta({ description: 'Id of a configured unit profile' }),
  unit_serial: words(64).optional(),
  opening_level_ml: volumeMl.optional(),
  connections_checked: z.boolean().optional(),
};

/** Fields of each statement, beside its kind. */
const STATEMENTS = {
  placed: {
    ...drainFacts,
    site: z.enum(['pleural-left', 'pleural-right', 'mediastinal', 'pericardial']),
    tubes: z.array(words(40)).min(1).max(6),
  },
  'set-up': {
    ...attachedUnit,
    seal_filled_cmh2o: pressureMagnitude.optional(),
    suction: suction.optional(),
  },
  reading: {
    level_ml: volumeMl.optional(),
    suction: suction.optional(),
    seal: seal.optional(),
    tidaling: z.enum(['present', 'absent', 'not-assessed']).optional(),
    air_leak: airLeak.optional(),
    pressure_cmh2o: signedPressure.optional(),
    fluid_character: z
      .enum(['serous', 'serosanguineous', 'sanguineous', 'chylous', 'purulent', 'other'])
      .optional(),
    fluid_colour: words(40).optional(),
    clamped: z.boolean().optional(),
    site_findings: words(500).optional(),
    position_changed: z.boolean().optional(),
  },
  'unit-changed': { ...attachedUnit, closing_level_ml: volumeMl.optional() },
  'level-rebased': {
    cause: z.enum(['tip-over', 'spill', 'drained-off', 'other']),
    last_trusted_level_ml: volumeMl.optional(),
    new_level_ml: volumeMl.optional(),
    estimated_loss_ml: volumeMl.optional(),
  },
  instilled: { volume_ml: volumeMl, purpose: z.enum(['flush', 'fibrinolytic', 'sclerosant', 'other']) },
  sampled: { volume_ml: volumeMl },
  'suction-changed': {
    source: z.enum(['on', 'off']),
    column_cmh2o: pressureMagnitude.optional(),
    dial_cmh2o: pressureMagnitude.optional(),
    ordered_cmh2o: pressureMagnitude.optional(),
  },
  clamped: {},
  unclamped: {},
  'seal-adjusted': {
    chamber: z.enum(['seal', 'suction']),
    water: z.enum(['added', 'withdrawn']),
    volume_ml: volumeMl.optional(),
    new_level_cmh2o: pressureMagnitude.optional(),
  },
  'negativity-vented': {},
  'tube-manipulated': {
    what: z.enum([
      'repositioned',
      'milked',
      'stripped',
      'unkinked',
      'reconnected',
      'dressing-changed',
      'other',
    ]),
  },
  'drain-updated': drainFacts,
  weighed: { weight_kg: weightKg },
  reviewed: { advisory: words(200), words: words(2000) },
  removed: {},
} as const;

const withDevice = {
  ...common,
  device: identifier.optional().meta({
    description:
      'The device that it was read on: alone, it goes to the drain that the device was on; beside the drain, both must agree.',
  }),
};

type Kind = keyof typeof STATEMENTS;

const pascal = (kind: string): string =>
  kind.replace(/(?:^|-)([a-z])/g, (_, letter: string) => letter.toUpperCase());

/** What bears on a drain or its patient as a whole must not go where a device happens to be. */
const OF_THE_DRAIN: readonly Kind[] = ['placed', 'drain-updated', 'weighed', 'reviewed', 'removed'];

/** What states nothing without one of its fields. An empty reading would pass for a look at the drain, and hide that it is overdue. */
const OF_ANY_FIELD: readonly Kind[] = ['reading', 'drain-updated'];

const isGiven = (value: unknown): boolean =>
  value !== undefined && (typeof value !== 'object' || value === null || Object.keys(value).length > 0);

/** @param fields of a message: those of the statement, and those that come with each */
function statement<Shape extends z.ZodRawShape>(kind: Kind, fields: Shape, id: string) {
  const message = z.strictObject(fields);
  if (!OF_ANY_FIELD.includes(kind)) return message.meta({ id });
  const stated = Object.keys(STATEMENTS[kind]);
  return message
    .refine((content: Readonly<Record<string, unknown>>) => stated.some((field) => isGiven(content[field])), {
      error: `charts nothing${MEND}send at least one of ${stated.join(', ')}`,
    })
    .meta({ id, description: 'At least one field beside those that every message has.' });
}

const entryOf = (kind: Kind) => {
  const beside = OF_THE_DRAIN.includes(kind) ? common : withDevice;
  return statement(kind, { kind: z.literal(kind), ...beside, ...STATEMENTS[kind] }, `${pascal(kind)}Entry`);
};
const replacementOf = (kind: Kind) => {
  const fields = { kind: z.literal(kind), effective_at: instant, note, ...STATEMENTS[kind] };
  return statement(kind, fields, `${pascal(kind)}Content`);
};

const KINDS = Object.keys(STATEMENTS) as [Kind, ...Kind[]];
const [, ...AFTER_PLACEMENT] = KINDS;
export const ALL_KINDS = [...KINDS, 'corrected', 'entered-in-error'] as const;

/** A new content for any statement, a placement too. */
const replacement = z
  .discriminatedUnion('kind', [replacementOf('placed'), ...AFTER_PLACEMENT.map(replacementOf)])
  .meta({ id: 'Content', description: 'A whole new content; the kind and the patient cannot change.' });

export const placementBody = z.strictObject({ ...common, ...STATEMENTS.placed }).meta({ id: 'Placement' });

const correction = z
  .strictObject({
    kind: z.literal('corrected'),
    ...withDevice,
    target: identifier,
    reason,
    replacement,
  })
  .meta({
    id: 'CorrectedEntry',
    description: 'Replaces the newest form of an entry by a whole new content.',
  });

const retraction = z
  .strictObject({ kind: z.literal('entered-in-error'), ...withDevice, target: identifier, reason })
  .meta({
    id: 'EnteredInErrorEntry',
    description: 'Says that an entry, with all its corrections, never was true. Final.',
  });

/** Every entry but a placement, which makes the drain that the others name. */
export const entryBody = z
  .discriminatedUnion('kind', [correction, retraction, ...AFTER_PLACEMENT.map(entryOf)])
  .meta({
    id: 'Entry',
    description: 'One fact about a drain, by its kind. Every field is known; none is coerced.',
  });
