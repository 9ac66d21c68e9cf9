/** Codes of standard terminologies, each seen in a published source that shows the whole record. */
import type { Site } from '../domain/vocabulary/entry.ts';

const LOINC = 'http://loinc.org';
const SNOMED = 'http://snomed.info/sct';
/** Who took part in a write: of HL7, and those that US Core adds. */
export const PARTICIPANT = 'http://terminology.hl7.org/CodeSystem/provenance-participant-type';
export const US_CORE_PARTICIPANT =
  'http://hl7.org/fhir/us/core/CodeSystem/us-core-provenance-participant-type';
export const UCUM = 'http://unitsofmeasure.org';
export const OBSERVATION_CATEGORY = 'http://terminology.hl7.org/CodeSystem/observation-category';
export const DATA_ABSENT_REASON = 'http://terminology.hl7.org/CodeSystem/data-absent-reason';

export interface Coding {
  readonly system: string;
  readonly code: string;
  readonly display: string;
}

/** As `system|code`, by which codes of other systems are looked up. */
export const keyOf = ({ system, code }: Coding): string => `${system}|${code}`;

export type Unit = 'mL' | 'mL/h' | 'mL/kg' | 'mL/kg/h' | 'cm[H2O]' | 'mL/min' | 'kg' | 'd' | '1';

export const BODY_WEIGHT: Coding = { system: LOINC, code: '29463-7', display: 'Body weight' };
export const CHARACTER: Coding = { system: LOINC, code: '9255-1', display: 'Fluid output [Appearance]' };

/** Fluid output by site; a mediastinal drain has no LOINC code that matches. */
export function fluidOutput(site: Site | null): Coding | null {
  if (site === 'pleural-left' || site === 'pleural-right') {
    return { system: LOINC, code: '9129-8', display: 'Fluid output chest tube' };
  }
  if (site === 'pericardial')
    return { system: LOINC, code: '9168-6', display: 'Fluid output pericardial drain' };
  return null;
}

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
