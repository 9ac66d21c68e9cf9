/**
 * One row a fact: what it is called in the record. The only place that knows codes and units.
 *
 * A standard code is added only where its axes (property, time, system) match. LOINC 9129-8 stands on the
 * per-interval fact alone, never on a level, a window or a cumulative sum, so that a consumer who adds by code
 * does not count twice. SNOMED CT 251843005 is broader and stands beside it there alone: with a coding in common, rate and
 * volume would be one group to $lastn.
 */
import type { Site } from '../domain/entry.ts';
import type { FactName } from '../domain/fact.ts';

const LOINC = 'http://loinc.org';
const SNOMED = 'http://snomed.info/sct';
export const UCUM = 'http://unitsofmeasure.org';
export const OBSERVATION_CATEGORY = 'http://terminology.hl7.org/CodeSystem/observation-category';
export const DATA_ABSENT_REASON = 'http://terminology.hl7.org/CodeSystem/data-absent-reason';

export interface Coding {
  readonly system: string;
  readonly code: string;
  readonly display: string;
}

export type Unit = 'mL' | 'mL/h' | 'mL/kg' | 'mL/kg/h' | 'cm[H2O]' | 'mL/min' | 'kg' | 'd' | '1';

export interface FactCode {
  readonly display: string;
  readonly definition: string;
  readonly unit: Unit | null;
  readonly category: 'exam' | 'therapy' | 'vital-signs';
  /** Adds the coarser fluid-balance category and observable. */
  readonly fluid_volume?: true;
  readonly loinc?: (site: Site | null) => Coding | null;
}

const volume = (display: string, definition: string): FactCode => ({
  display,
  definition,
  unit: 'mL',
  category: 'exam',
});
/** Neither the fluid-balance category nor the broader observable: windows overlap, and adding them would count twice. */
const trailing = (hours: number): FactCode =>
  volume(
    `Net chest drainage, trailing ${hours} h`,
    `Drained + sampled - instilled over the ${hours} elapsed hours before a level was read, mL; drained volume spread evenly over the unclamped time of its interval. With comparator >= where part of the time is not covered.`,
  );
/** As with trailing windows: hours, shifts and days hold each other, and a patient's hold those of its drains. */
const calendar = (what: string, of: string): FactCode =>
  volume(
    `Net chest drainage of ${of}, ${what}`,
    `Drained + sampled - instilled of ${of} in one ${what} of the facility's zone, mL, once no level is awaited for it. With comparator >= where part of the time in place is not covered.`,
  );
const pressure = (
  display: string,
  definition: string,
  category: FactCode['category'] = 'exam',
): FactCode => ({
  display,
  definition,
  unit: 'cm[H2O]',
  category,
});
const finding = (display: string, definition: string): FactCode => ({
  display,
  definition,
  unit: null,
  category: 'exam',
});

const BODY_WEIGHT: Coding = { system: LOINC, code: '29463-7', display: 'Body weight' };
const CHARACTER: Coding = { system: LOINC, code: '9255-1', display: 'Fluid output [Appearance]' };

/** Fluid output by site; a mediastinal drain has no LOINC code that matches. */
function fluidOutput(site: Site | null): Coding | null {
  if (site === 'pleural-left' || site === 'pleural-right') {
    return { system: LOINC, code: '9129-8', display: 'Fluid output chest tube' };
  }
  if (site === 'pericardial')
    return { system: LOINC, code: '9168-6', display: 'Fluid output pericardial drain' };
  return null;
}

export const FACT_CODES: Readonly<Record<FactName, FactCode>> = {
  reading: finding('Chest drain reading', 'Groups what was charted at one look at the drain.'),
  level: volume(
    'Collection chamber level',
    'Fluid level on the scale of the collection chamber, mL; has meaning within one run of one unit only.',
  ),
  'opening-level': volume(
    'Collection chamber opening level',
    'Level at which a unit, or a re-based scale, starts, mL.',
  ),
  'closing-level': volume(
    'Collection chamber closing level',
    'Last trusted level of the scale that ends, mL.',
  ),
  'net-drainage': {
    ...volume(
      'Net chest drainage',
      'Drained + sampled - instilled between two levels, mL; negative after a flush that has not come back.',
    ),
    fluid_volume: true,
    loinc: fluidOutput,
  },
  'drainage-rate': {
    display: 'Chest drainage rate',
    definition: 'Net drainage of an interval per wall-clock hour, mL/h, 1 decimal.',
    unit: 'mL/h',
    category: 'exam',
  },
  'drainage-rate-per-kg': {
    display: 'Chest drainage rate per body weight',
    definition:
      'Drainage rate divided by the last body weight at the start of the interval, mL/kg/h, 2 decimals.',
    unit: 'mL/kg/h',
    category: 'exam',
  },
  'cumulative-drainage': volume(
    'Cumulative net chest drainage',
    'Sum of net drainage over all intervals since the first known level, across unit changes, mL; no value while an interval is unknown or in doubt.',
  ),
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
  advisory: finding(
    'Chest drain advisory for review',
    'A published or local threshold that the data crossed, from the level that raised it to the one that ended it; for a clinician to review, not an alarm. Preliminary while it stands.',
  ),
  'imposed-suction': pressure(
    'Imposed suction',
    'Suction shown by column or dial, positive magnitude below atmosphere, cm H2O.',
    'therapy',
  ),
  'ordered-suction': pressure(
    'Ordered suction',
    'Suction as ordered, positive magnitude below atmosphere, cm H2O.',
    'therapy',
  ),
  'seal-level': pressure(
    'Water-seal level',
    'Height of the water-seal column as read, positive magnitude, cm H2O.',
  ),
  'total-negativity': pressure(
    'Total negativity',
    'Imposed suction + seal part in the convention of the unit profile, positive magnitude below atmosphere, cm H2O; computed, not a measured pleural pressure.',
  ),
  'measured-pressure': pressure(
    'Measured drain pressure',
    'Pressure measured by the sensor of an electronic unit, signed against atmosphere, cm H2O.',
  ),
  'air-leak-grade': finding(
    'Air-leak grade',
    'Grade on the ordinal leak scale of the unit; not comparable across scales.',
  ),
  'air-leak-phase': finding(
    'Air-leak phase',
    'When in breathing the leak shows: none, forced-expiratory, expiratory, inspiratory, continuous.',
  ),
  'air-leak-flow': {
    display: 'Air-leak flow',
    definition: 'Air flow through the drain as measured, mL/min.',
    unit: 'mL/min',
    category: 'exam',
  },
  tidaling: finding('Tidaling', 'Whether the water seal swings with breathing.'),
  'fluid-character': {
    ...finding('Drained fluid character', 'Character of the drained fluid as seen at the bedside.'),
    loinc: () => CHARACTER,
  },
  'fluid-colour': finding('Drained fluid colour', 'Colour of the drained fluid in words.'),
  'instilled-volume': volume('Volume instilled through the drain', 'Put in through the tube, mL.'),
  'sampled-volume': volume('Volume sampled from the drain', 'Taken out before it reached the chamber, mL.'),
  'body-weight': {
    display: 'Body weight',
    definition: 'Body weight used to index drainage, kg.',
    unit: 'kg',
    category: 'vital-signs',
    loinc: () => BODY_WEIGHT,
  },
};

/** Body sites; SNOMED CT concepts seen in published bindings. */
export const SITE_CODES: Readonly<Record<Site, Coding>> = {
  'pleural-left': { system: SNOMED, code: '53727004', display: 'Left pleura' },
  'pleural-right': { system: SNOMED, code: '44788007', display: 'Right pleura' },
  mediastinal: { system: SNOMED, code: '72410000', display: 'Mediastinum' },
  pericardial: { system: SNOMED, code: '76848001', display: 'Pericardium' },
};

export const DRAIN_OUTPUT: Coding = { system: SNOMED, code: '251843005', display: 'Fluid output from drain' };
export const FLUID_BALANCE: Coding = {
  system: SNOMED,
  code: '364396009',
  display: 'Fluid balance observable',
};

/** Tidaling as SNOMED CT qualifiers; the local code stands beside each. */
export const PRESENCE: Readonly<Record<string, Coding>> = {
  present: { system: SNOMED, code: '52101004', display: 'Present' },
  absent: { system: SNOMED, code: '2667000', display: 'Absent' },
};
