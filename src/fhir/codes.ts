/**
 * One row a fact: what it is called in the record, and what its Observation holds. The only place that knows; the writer,
 * the CodeSystem, the ValueSets and the profiles are made from it.
 *
 * A standard code is added only where its axes (property, time, system) match. LOINC 9129-8 stands on the
 * per-interval fact alone, never on a level, a window or a cumulative sum, so that a consumer who adds by code
 * does not count twice. SNOMED CT 251843005 is broader and stands beside it there alone: with a coding in common, rate and
 * volume would be one group to $lastn.
 */
import type { Category } from '../domain/vocabulary/configuration.ts';
import type { Site } from '../domain/vocabulary/entry.ts';
import type { ComponentName, ObservationName } from '../domain/vocabulary/fact.ts';
import { BODY_WEIGHT, CHARACTER, type Coding, fluidOutput, type Unit } from './codings.ts';

export interface FactCode {
  readonly display: string;
  readonly definition: string;
  readonly category: Category;
  /** What stands as its value; a grouping has members in place of one. */
  readonly value: 'quantity' | 'code' | 'text' | 'rule' | 'grouping';
  /** Of a quantity. */
  readonly unit: Unit | null;
  /** The quantity may be negative; without it, it is a magnitude. */
  readonly signed?: true;
  /** A reason may stand in place of the value. */
  readonly absent?: true;
  readonly time: 'moment' | 'period';
  /** Somebody charted it as it is; otherwise the service worked it out, and nobody performed it. */
  readonly charted: boolean;
  readonly components?: readonly ComponentName[];
  /** Adds the coarser fluid-balance category and observable. */
  readonly fluid_volume?: true;
  readonly loinc?: (site: Site | null) => Coding | null;
}

/** Displays, as the system has them. */
export const CATEGORIES: Readonly<Record<Category, string>> = {
  'social-history': 'Social History',
  'vital-signs': 'Vital Signs',
  imaging: 'Imaging',
  laboratory: 'Laboratory',
  procedure: 'Procedure',
  survey: 'Survey',
  exam: 'Exam',
  therapy: 'Therapy',
  activity: 'Activity',
};

const EXAM = { category: 'exam' } as const;
const CHARTED = { ...EXAM, time: 'moment', charted: true } as const;
const DERIVED = { ...EXAM, time: 'period', charted: false, value: 'quantity' } as const;
const PARTS = ['drained', 'sampled', 'instilled'] as const;

const quantity = (unit: Unit, display: string, definition: string): FactCode => ({
  ...CHARTED,
  display,
  definition,
  unit,
  value: 'quantity',
});
const finding = (value: FactCode['value'], display: string, definition: string): FactCode => ({
  ...CHARTED,
  display,
  definition,
  value,
  unit: null,
});
/** Neither the fluid-balance category nor the broader observable: windows overlap, and adding them would count twice. */
const windowSum = (display: string, definition: string): FactCode => ({
  ...DERIVED,
  display,
  definition,
  unit: 'mL',
  signed: true,
  components: [...PARTS, 'net-low', 'net-high', 'coverage', 'uncertainty'],
});
const trailing = (hours: number): FactCode =>
  windowSum(
    `Net chest drainage, trailing ${hours} h`,
    `Drained + sampled - instilled over the ${hours} elapsed hours before a level was read, mL; drained volume spread evenly over the unclamped time of its interval. With comparator >= where part of the time is not covered.`,
  );
/** As with trailing windows: hours, shifts and days hold each other, and a patient's hold those of its drains. */
const calendar = (what: string, of: string): FactCode =>
  windowSum(
    `Net chest drainage of ${of}, ${what}`,
    `Drained + sampled - instilled of ${of} in one ${what} of the facility's zone, mL, once no level is awaited for it. With comparator >= where part of the time in place is not covered.`,
  );

export const FACT_CODES: Readonly<Record<ObservationName, FactCode>> = {
  reading: finding('grouping', 'Chest drain reading', 'Groups what was charted at one look at the drain.'),
  level: quantity(
    'mL',
    'Collection chamber level',
    'Fluid level on the scale of the collection chamber, mL; has meaning within one run of one unit only.',
  ),
  'opening-level': quantity(
    'mL',
    'Collection chamber opening level',
    'Level at which a unit, or a re-based scale, starts, mL.',
  ),
  'closing-level': quantity(
    'mL',
    'Collection chamber closing level',
    'Last trusted level of the scale that ends, mL.',
  ),
  'net-drainage': {
    ...DERIVED,
    display: 'Net chest drainage',
    definition:
      'Drained + sampled - instilled between two levels, mL; negative after a flush that has not come back. With comparator >= where part of the interval is not known.',
    unit: 'mL',
    signed: true,
    absent: true,
    components: [...PARTS, 'uncertainty'],
    fluid_volume: true,
    loinc: fluidOutput,
  },
  'drainage-rate': {
    ...DERIVED,
    display: 'Chest drainage rate',
    definition:
      'Net drainage of an interval per wall-clock hour, mL/h, 1 decimal; negative where net drainage is.',
    unit: 'mL/h',
    signed: true,
    components: ['open-time-rate', 'rate-uncertainty'],
  },
  'drainage-rate-per-kg': {
    ...DERIVED,
    display: 'Chest drainage rate per body weight',
    definition:
      'Drainage rate divided by the last body weight at the start of the interval, mL/kg/h, 2 decimals; negative where net drainage is.',
    unit: 'mL/kg/h',
    signed: true,
    components: ['weight-used', 'rate-per-kg-uncertainty'],
  },
  'cumulative-drainage': {
    ...DERIVED,
    display: 'Cumulative net chest drainage',
    definition:
      'Sum of net drainage over all intervals since the first known level, across unit changes, mL; no value while an interval is unknown or in doubt.',
    unit: 'mL',
    signed: true,
    absent: true,
    components: ['sum-of-measured-intervals', 'suspect-volume', ...PARTS, 'uncertainty'],
  },
  'net-drainage-1h': trailing(1),
  'net-drainage-4h': trailing(4),
  'net-drainage-8h': trailing(8),
  'net-drainage-12h': trailing(12),
  'net-drainage-24h': trailing(24),
  'net-drainage-hour': calendar('clock hour', 'a drain'),
  'net-drainage-shift': calendar('shift', 'a drain'),
  'net-drainage-day': calendar('fluid-balance day', 'a drain'),
  'patient-net-drainage-hour': calendar('clock hour', 'all drains of a patient'),
  'patient-net-drainage-shift': calendar('shift', 'all drains of a patient'),
  'patient-net-drainage-day': calendar('fluid-balance day', 'all drains of a patient'),
  advisory: {
    ...DERIVED,
    display: 'Chest drain advisory for review',
    definition:
      'A published or local threshold that the data crossed, from the level that raised it to the one that ended it; for a clinician to review, not an alarm. Preliminary while it stands.',
    value: 'rule',
    unit: null,
    components: [
      ...(['rule-value', 'rule-threshold', 'rule-net', 'rule-uncertainty'] as const),
      ...(['instilled', 'weight-used'] as const),
    ],
  },
  'imposed-suction': {
    ...quantity(
      'cm[H2O]',
      'Imposed suction',
      'Suction shown by column or dial, positive magnitude below atmosphere, cm H2O.',
    ),
    category: 'therapy',
  },
  'ordered-suction': {
    ...quantity(
      'cm[H2O]',
      'Ordered suction',
      'Suction as ordered, positive magnitude below atmosphere, cm H2O.',
    ),
    category: 'therapy',
  },
  'seal-level': quantity(
    'cm[H2O]',
    'Water-seal level',
    'Height of the water-seal column as read, positive magnitude, cm H2O.',
  ),
  'total-negativity': {
    ...DERIVED,
    display: 'Total negativity',
    definition:
      'Imposed suction + seal part in the convention of the unit profile, positive magnitude below atmosphere, cm H2O; computed, not a measured pleural pressure.',
    unit: 'cm[H2O]',
    absent: true,
    time: 'moment',
    components: ['negativity-low', 'negativity-high'],
  },
  'measured-pressure': {
    ...quantity(
      'cm[H2O]',
      'Measured drain pressure',
      'Pressure measured by the sensor of an electronic unit, signed against atmosphere (negative below it), cm H2O.',
    ),
    signed: true,
  },
  'air-leak-grade': finding(
    'code',
    'Air-leak grade',
    'Grade on the ordinal leak scale of the unit; not comparable across scales.',
  ),
  'air-leak-phase': finding(
    'code',
    'Air-leak phase',
    'When in breathing the leak shows: none, forced-expiratory, expiratory, inspiratory, continuous.',
  ),
  'air-leak-flow': quantity('mL/min', 'Air-leak flow', 'Air flow through the drain as measured, mL/min.'),
  tidaling: finding('code', 'Tidaling', 'Whether the water seal swings with breathing.'),
  'fluid-character': {
    ...finding('code', 'Drained fluid character', 'Character of the drained fluid as seen at the bedside.'),
    loinc: () => CHARACTER,
  },
  'fluid-colour': finding('text', 'Drained fluid colour', 'Colour of the drained fluid in words.'),
  'instilled-volume': quantity('mL', 'Volume instilled through the drain', 'Put in through the tube, mL.'),
  'sampled-volume': quantity(
    'mL',
    'Volume sampled from the drain',
    'Taken out before it reached the chamber, mL.',
  ),
  'body-weight': {
    ...quantity('kg', 'Body weight', 'Body weight used to index drainage, kg.'),
    category: 'vital-signs',
    loinc: () => BODY_WEIGHT,
  },
};
