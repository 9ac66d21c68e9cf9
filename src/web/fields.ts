/** What can be entered of each kind, as data: the form is built from this, and its answers are read back by it. */
import type { UnitProfile } from './answers.ts';
import { choice, type Field, level, number, type Option, pressure, select } from './field.ts';

type Unit = UnitProfile | null;

const isRegulated = (unit: Unit): boolean => unit?.kind === 'gravity' || unit?.kind === 'electronic';

/** What the unit shows of suction: a wet unit a column and bubbles, a dry one a dial and an indicator. */
function shownField(unit: Unit, dot: string): readonly Field[] {
  if (isRegulated(unit)) return [];
  return unit?.kind === 'dry-suction'
    ? [pressure(`${dot}dial_cmh2o`, 'Suction dial')]
    : [pressure(`${dot}column_cmh2o`, 'Suction column')];
}

const suctionFields = (unit: Unit): readonly Field[] =>
  isRegulated(unit)
    ? []
    : [choice('suction.source', 'Suction', ['on', 'off']), ...shownField(unit, 'suction.')];

function proofFields(unit: Unit): readonly Field[] {
  if (isRegulated(unit)) return [];
  return unit?.kind === 'dry-suction'
    ? [choice('suction.indicator', 'Suction indicator', ['in-range', 'out-of-range', 'not-assessed'])]
    : [choice('suction.bubbling', 'Bubbling in the suction chamber', ['none', 'gentle', 'vigorous'])];
}

function gradeField(unit: Unit): Field {
  const most = unit?.leak_scale_max;
  if (most === undefined || most > 9) return number('air_leak.grade', 'Air leak grade', 'grade');
  const grades = Array.from({ length: most + 1 }, (_, grade): Option => [String(grade), String(grade)]);
  const label = `Air leak grade, of ${most}`;
  return { type: 'choice', path: 'air_leak.grade', label, options: grades, isNumber: true };
}

const PHASES = ['none', 'forced-expiratory', 'expiratory', 'inspiratory', 'continuous'];
const FLUIDS = ['serous', 'serosanguineous', 'sanguineous', 'chylous', 'purulent', 'other'];
const MORE = { isMore: true } as const;

function readingFields(unit: Unit): readonly Field[] {
  const isElectronic = unit?.kind === 'electronic';
  const pressures: readonly Field[] = isElectronic
    ? [{ ...pressure('pressure_cmh2o', 'Pressure, below atmosphere is negative'), isSigned: true } as Field]
    : [...suctionFields(unit), ...proofFields(unit), pressure('seal.level_cmh2o', 'Seal level')];
  return [
    level('level_ml', 'Level in the chamber'),
    ...pressures,
    choice('tidaling', 'Swing', ['present', 'absent', 'not-assessed']),
    isElectronic ? number('air_leak.flow_ml_min', 'Air leak flow', 'mL/min') : gradeField(unit),
    select('air_leak.phase', 'Air leak, when', PHASES),
    select('fluid_character', 'Fluid', FLUIDS),
    { type: 'text', path: 'fluid_colour', label: 'Colour of the fluid', most: 40, ...MORE },
    pressure('suction.ordered_cmh2o', 'Suction ordered', MORE),
    ...(isElectronic
      ? []
      : [
          pressure('seal.swing_low_cmh2o', 'Swing of the seal, low', MORE),
          pressure('seal.swing_high_cmh2o', 'Swing of the seal, high', MORE),
        ]),
    { type: 'yes-no', path: 'clamped', label: 'Tube clamped', ...MORE },
    { type: 'yes-no', path: 'position_changed', label: 'Patient turned or moved', ...MORE },
    { type: 'text', path: 'site_findings', label: 'Site and dressing', most: 500, ...MORE },
  ];
}

const profileField = (profiles: readonly UnitProfile[]): Field => ({
  type: 'select',
  path: 'profile',
  label: 'Unit',
  required: true,
  options: profiles.map(({ id, capacity_ml }) => [id, `${id}, ${capacity_ml} mL`]),
});
const serial: Field = { type: 'text', path: 'unit_serial', label: 'Serial number', most: 64 };
const connections: Field = { type: 'yes-no', path: 'connections_checked', label: 'Connections checked' };

const INDICATIONS = ['cardiac-surgery', 'thoracic-surgery', 'trauma', 'pneumothorax', 'effusion', 'other'];

const FACTS: readonly Field[] = [
  choice('population', 'Patient is', ['adult', 'paediatric']),
  select('indication', 'Drain placed for', INDICATIONS),
  {
    type: 'text',
    path: 'patient.reference',
    label: 'Patient, by reference such as Patient/123; no name',
    most: 200,
  },
  {
    type: 'text',
    path: 'encounter.reference',
    label: 'Stay, by reference such as Encounter/9',
    most: 200,
    ...MORE,
  },
  { type: 'moment', path: 'chest_closed_at', label: 'Chest closed at', ...MORE },
  { type: 'moment', path: 'unit_arrived_at', label: 'Arrived on the unit at', ...MORE },
  { type: 'moment', path: 'injured_at', label: 'Injured at', ...MORE },
];

const volume = (label: string): Field => level('volume_ml', label, { required: true });
const text = (path: string, label: string, most: number): Field => ({
  type: 'text',
  path,
  label,
  most,
  required: true,
});

const SITES = ['pleural-left', 'pleural-right', 'mediastinal', 'pericardial'];
const HANDLING = [
  'repositioned',
  'milked',
  'stripped',
  'unkinked',
  'reconnected',
  'dressing-changed',
  'other',
];

/** Of every entry, of a correction, and of every entry at its end. */
export const TIME: Field = { type: 'moment', path: 'effective_at', label: 'Time', required: true };
export const REASON: Field = text('reason', 'Why is it corrected?', 500);
export const NOTE: Field = { type: 'lines', path: 'note', label: 'Note', most: 2000, ...MORE };

type FieldsOf = (unit: Unit, profiles: readonly UnitProfile[]) => readonly Field[];

/** Kinds without a row have no fields but time and note. */
const FIELDS: Readonly<Record<string, FieldsOf>> = {
  placed: () => [
    select('site', 'Site', SITES, { required: true }),
    { ...text('tubes', 'Tubes, with commas between them', 120), isList: true } as Field,
    ...FACTS,
  ],
  'drain-updated': () => FACTS,
  'set-up': (unit, profiles) => [
    profileField(profiles),
    level('opening_level_ml', 'Level at the start; 0 is an answer'),
    pressure('seal_filled_cmh2o', 'Seal filled to'),
    ...suctionFields(unit),
    ...proofFields(unit),
    pressure('suction.ordered_cmh2o', 'Suction ordered'),
    connections,
    serial,
  ],
  'unit-changed': (_unit, profiles) => [
    level('closing_level_ml', 'Level of the old unit when it came off'),
    profileField(profiles),
    level('opening_level_ml', 'Level of the new unit; 0 is an answer'),
    connections,
    serial,
  ],
  reading: readingFields,
  'level-rebased': () => [
    select('cause', 'What happened', ['tip-over', 'spill', 'drained-off', 'other'], { required: true }),
    level('last_trusted_level_ml', 'Last level that can be trusted'),
    level('new_level_ml', 'Level now'),
    level('estimated_loss_ml', 'Estimate of what was lost'),
  ],
  instilled: () => [
    volume('Volume put in'),
    choice('purpose', 'What for', ['flush', 'fibrinolytic', 'sclerosant', 'other'], { required: true }),
  ],
  sampled: () => [volume('Volume taken out')],
  'suction-changed': (unit) => [
    choice('source', 'Suction', ['on', 'off'], { required: true }),
    ...shownField(unit, ''),
    pressure('ordered_cmh2o', 'Suction ordered'),
  ],
  'seal-adjusted': () => [
    choice('chamber', 'Chamber', ['seal', 'suction'], { required: true }),
    choice('water', 'Water', ['added', 'withdrawn'], { required: true }),
    level('volume_ml', 'How much'),
    pressure('new_level_cmh2o', 'Level now'),
  ],
  'tube-manipulated': () => [select('what', 'What was done', HANDLING, { required: true })],
  weighed: () => [number('weight_kg', 'Body weight', 'kg', { required: true })],
  reviewed: () => [
    { type: 'lines', path: 'words', label: 'What you saw and decided', most: 2000, required: true },
  ],
  'entered-in-error': () => [text('reason', 'Why was it entered in error?', 500)],
};

/** @param unit in use; of a set-up or unit change, the one that is chosen */
export const fieldsOf = (kind: string, unit: Unit, profiles: readonly UnitProfile[]): readonly Field[] =>
  FIELDS[kind]?.(unit, profiles) ?? [];

/** Whatever a form of this kind may hold, on whichever unit. */
export function allFieldsOf(kind: string): readonly Field[] {
  const units = [
    null,
    ...(['dry-suction', 'electronic'] as const).map((kind) => ({ id: '', kind, capacity_ml: 0 })),
  ];
  return [TIME, REASON, ...units.flatMap((unit) => fieldsOf(kind, unit, [])), NOTE];
}

/** Kinds that a person enters from the drain's page, beside a reading, in the order of the work. */
export const EVENTS = [
  'set-up',
  'unit-changed',
  'instilled',
  'sampled',
  'suction-changed',
  'clamped',
  'unclamped',
  'seal-adjusted',
  'negativity-vented',
  'tube-manipulated',
  'level-rebased',
  'weighed',
  'drain-updated',
  'removed',
] as const;
