/**
 * What may come in as FHIR: one row a raw quantity, from its code to the field of the entry that it becomes. What the
 * service works out by itself has no row here, and is taken from nobody.
 */
import type { Site } from '../domain/vocabulary/entry.ts';
import type { ObservationName } from '../domain/vocabulary/fact.ts';
import { FACT_CODES } from './codes.ts';
import { BODY_WEIGHT, CHARACTER, DRAIN_OUTPUT, fluidOutput, keyOf, PRESENCE, SITE_CODES } from './codings.ts';

interface Common {
  readonly entry: 'reading' | 'weighed' | 'instilled' | 'sampled';
  /** Where its value stands in the native entry. */
  readonly field: readonly string[];
  /** The fact as which it is issued; null for what is charted beside others and is no Observation of its own. */
  readonly issued: ObservationName | null;
  readonly display: string;
  readonly definition: string;
}

/** How a value is written: UCUM quantity, a code of ours, number without unit, words, or yes and no. */
export type RawCode = Common &
  (
    | { readonly value: 'quantity' | 'integer' | 'text' | 'boolean' }
    /** The codes; each stands in the code system of values behind the name of the row and a dash. */
    | { readonly value: 'code'; readonly codes: readonly string[] }
  );

type Issued = Pick<Common, 'issued' | 'display' | 'definition'>;

/** In words of the fact that it is issued as. */
const as = (issued: ObservationName): Issued => ({
  issued,
  display: FACT_CODES[issued].display,
  definition: FACT_CODES[issued].definition,
});
/** Issued as a fact that does not say which of several it was read from. */
const readFrom = (issued: ObservationName, display: string, definition: string): Issued => ({
  issued,
  display,
  definition,
});
const beside = (display: string, definition: string): Issued => ({ issued: null, display, definition });

const quantity = (field: string, is: Issued): RawCode => ({
  entry: 'reading',
  field: field.split('.'),
  value: 'quantity',
  ...is,
});
const coded = (field: string, codes: string, is: Issued): RawCode => ({
  entry: 'reading',
  field: field.split('.'),
  value: 'code',
  codes: codes.split(' '),
  ...is,
});
const plain = (field: string, value: 'integer' | 'text' | 'boolean', is: Issued): RawCode => ({
  entry: 'reading',
  field: field.split('.'),
  value,
  ...is,
});

/** By code of our code system of observations. */
export const RAW_CODES: Readonly<Record<string, RawCode>> = {
  level: quantity('level_ml', as('level')),
  'suction-column': quantity(
    'suction.column_cmh2o',
    readFrom(
      'imposed-suction',
      'Suction column',
      'Height of the suction column of a wet unit, positive magnitude below atmosphere, cm H2O.',
    ),
  ),
  'suction-dial': quantity(
    'suction.dial_cmh2o',
    readFrom(
      'imposed-suction',
      'Suction dial',
      'Suction shown by the dial of a dry unit, positive magnitude below atmosphere, cm H2O.',
    ),
  ),
  'ordered-suction': quantity('suction.ordered_cmh2o', as('ordered-suction')),
  'suction-source': coded(
    'suction.source',
    'on off',
    beside('Suction source', 'Whether the source of suction is on or off.'),
  ),
  'suction-bubbling': coded(
    'suction.bubbling',
    'none gentle vigorous',
    beside(
      'Bubbling of the suction column',
      'Bubbling proves that suction as high as the column is imposed.',
    ),
  ),
  'suction-indicator': coded(
    'suction.indicator',
    'in-range out-of-range not-assessed',
    beside('Suction indicator', 'What the indicator of a dry unit shows.'),
  ),
  'seal-level': quantity('seal.level_cmh2o', as('seal-level')),
  'seal-swing-low': quantity(
    'seal.swing_low_cmh2o',
    beside('Lower end of the swing', 'Of the water-seal column, positive magnitude, cm H2O.'),
  ),
  'seal-swing-high': quantity(
    'seal.swing_high_cmh2o',
    beside('Upper end of the swing', 'Of the water-seal column, positive magnitude, cm H2O.'),
  ),
  tidaling: coded('tidaling', 'present absent not-assessed', as('tidaling')),
  'air-leak-grade': plain('air_leak.grade', 'integer', as('air-leak-grade')),
  'air-leak-phase': coded(
    'air_leak.phase',
    'none forced-expiratory expiratory inspiratory continuous',
    as('air-leak-phase'),
  ),
  'air-leak-flow': quantity('air_leak.flow_ml_min', as('air-leak-flow')),
  'measured-pressure': quantity('pressure_cmh2o', as('measured-pressure')),
  'fluid-character': coded(
    'fluid_character',
    'serous serosanguineous sanguineous chylous purulent other',
    as('fluid-character'),
  ),
  'fluid-colour': plain('fluid_colour', 'text', as('fluid-colour')),
  clamped: plain('clamped', 'boolean', beside('Clamped', 'Whether the tube is clamped.')),
  'site-findings': plain(
    'site_findings',
    'text',
    beside('Findings at the site', 'What is seen where the tube enters, in words.'),
  ),
  'position-changed': plain(
    'position_changed',
    'boolean',
    beside('Position changed', 'Whether the patient was turned or sat up.'),
  ),
  'body-weight': { ...quantity('weight_kg', as('body-weight')), entry: 'weighed' },
  'instilled-volume': { ...quantity('volume_ml', as('instilled-volume')), entry: 'instilled' },
  'instilled-purpose': {
    ...coded(
      'purpose',
      'flush fibrinolytic sclerosant other',
      beside('Purpose of an instillation', 'What was put in for.'),
    ),
    entry: 'instilled',
  },
  'sampled-volume': { ...quantity('volume_ml', as('sampled-volume')), entry: 'sampled' },
};

/** Codes under which nothing is issued. */
export const RECEIVED_ONLY: readonly (readonly [string, RawCode])[] = Object.entries(RAW_CODES).filter(
  ([code]) => !Object.hasOwn(FACT_CODES, code),
);

/** Groups the parts of one look at the drain, which stand in its components. */
export const GROUPING: ObservationName = 'reading';

/** The fact as which an entry is found where its sender named none, by its kind. */
export const ISSUED_BY_KIND: Readonly<Record<string, ObservationName>> = {
  reading: GROUPING,
  weighed: 'body-weight',
  instilled: 'instilled-volume',
  sampled: 'sampled-volume',
};

/** Codes of other systems that mean a raw quantity, as `system|code`. */
export const ALSO_KNOWN_AS: Readonly<Record<string, string>> = {
  [keyOf(BODY_WEIGHT)]: 'body-weight',
  'http://loinc.org|3141-9': 'body-weight',
  [keyOf(CHARACTER)]: 'fluid-character',
};

/** Values of other systems, as `system|code`, by the code that they stand for. */
export const VALUE_ALSO_KNOWN_AS: Readonly<Record<string, string>> = Object.fromEntries(
  Object.entries(PRESENCE).map(([value, coding]) => [keyOf(coding), value]),
);

const SITES = Object.keys(SITE_CODES) as Site[];
/** Codes of other systems under which only what the service works out is issued. */
const DERIVED_ELSEWHERE = new Set(
  [DRAIN_OUTPUT, ...SITES.flatMap((site) => fluidOutput(site) ?? [])].map(keyOf),
);

/** Charted, but by what happens to a unit, or under another code. */
const CHARTED_OTHERWISE = new Set<string>([GROUPING, 'imposed-suction', 'opening-level', 'closing-level']);

/** Whether a code means something that the service works out. @param local our own code system */
export function isDerived(system: string, code: string, local: string): boolean {
  if (system !== local) return DERIVED_ELSEWHERE.has(`${system}|${code}`);
  return Object.hasOwn(FACT_CODES, code) && !Object.hasOwn(RAW_CODES, code) && !CHARTED_OTHERWISE.has(code);
}
