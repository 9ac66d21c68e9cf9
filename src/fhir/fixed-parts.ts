/** The parts of an Observation that only its kind and the drain's site decide: written once, then kept. */
import type { Site } from '../domain/entry.ts';
import type { ComponentName, FactName } from '../domain/fact.ts';
import type { IssueStatus } from '../domain/issue.ts';
import {
  COMPONENT_CODES,
  type Coding,
  DRAIN_OUTPUT,
  FACT_CODES,
  FLUID_BALANCE,
  OBSERVATION_CATEGORY,
  SITE_CODES,
  UCUM,
  type Unit,
} from './codes.ts';

export interface FixedParts {
  readonly opening: string;
  readonly identifier: string;
  /** From the end of the identifier to the end of the code, by status. */
  readonly statusToCode: Readonly<Record<IssueStatus, string>>;
  readonly bodySite: string;
}

const CATEGORY_DISPLAY = { exam: 'Exam', therapy: 'Therapy', 'vital-signs': 'Vital Signs' } as const;

/** At most sites × facts of them: five sites and the facts of codes.ts, for the one canonical base of a process. */
const kept = new Map<string, Map<FactName, FixedParts>>();

export function fixedParts(canonical: string, site: Site | null, name: FactName): FixedParts {
  const ofSite = kept.get(`${site} ${canonical}`) ?? new Map<FactName, FixedParts>();
  kept.set(`${site} ${canonical}`, ofSite);
  const found = ofSite.get(name);
  if (found !== undefined) return found;
  const categoryAndCode = `"category":${categories(name)},"code":${code(canonical, site, name)}`;
  const withStatus = (status: IssueStatus) => `"}],"status":"${status}",${categoryAndCode}`;
  const parts: FixedParts = {
    opening: `{"resourceType":"Observation","id":"${name}.`,
    identifier: `"},"identifier":[{"system":"${canonical}/observation","value":"${name}.`,
    statusToCode: {
      final: withStatus('final'),
      amended: withStatus('amended'),
      corrected: withStatus('corrected'),
      'entered-in-error': withStatus('entered-in-error'),
    },
    bodySite: site === null || name === 'body-weight' ? '' : `,"bodySite":${concept([SITE_CODES[site]])}`,
  };
  ofSite.set(name, parts);
  return parts;
}

export const localSystem = (canonical: string, name: 'observation' | 'value' | 'flag'): string =>
  `${canonical}/CodeSystem/chest-drain-${name}`;

export function concept(codings: readonly Coding[], text?: string): string {
  return JSON.stringify(text === undefined ? { coding: codings } : { coding: codings, text });
}

function categories(name: FactName): string {
  const { category, fluid_volume } = FACT_CODES[name];
  const own = concept([
    { system: OBSERVATION_CATEGORY, code: category, display: CATEGORY_DISPLAY[category] },
  ]);
  return fluid_volume ? `[${own},${concept([FLUID_BALANCE])}]` : `[${own}]`;
}

function code(canonical: string, site: Site | null, name: FactName): string {
  const { display, loinc, fluid_volume } = FACT_CODES[name];
  const standard = loinc?.(site) ?? null;
  const local: Coding = { system: localSystem(canonical, 'observation'), code: name, display };
  const codings = [...(standard === null ? [] : [standard]), local, ...(fluid_volume ? [DRAIN_OUTPUT] : [])];
  return concept(codings, display);
}

/** What follows the digits of a quantity. */
export function quantityEnd(unit: Unit, atLeast: boolean): string {
  return (atLeast ? LOWER_BOUND_ENDS : QUANTITY_ENDS)[unit];
}

const endWith = (comparator: string): Readonly<Record<Unit, string>> => {
  const end = (unit: Unit) => `${comparator},"unit":"${unit}","system":"${UCUM}","code":"${unit}"}`;
  return {
    mL: end('mL'),
    'mL/h': end('mL/h'),
    'mL/kg/h': end('mL/kg/h'),
    'cm[H2O]': end('cm[H2O]'),
    'mL/min': end('mL/min'),
    kg: end('kg'),
    '1': end('1'),
  };
};
const QUANTITY_ENDS = endWith('');
const LOWER_BOUND_ENDS = endWith(',"comparator":">="');

const components = new Map<string, Map<ComponentName, string>>();

/** A component up to its value. */
export function componentStart(canonical: string, name: ComponentName): string {
  const ofBase = components.get(canonical) ?? new Map<ComponentName, string>();
  components.set(canonical, ofBase);
  const found = ofBase.get(name);
  if (found !== undefined) return found;
  const coding = {
    system: localSystem(canonical, 'observation'),
    code: name,
    display: COMPONENT_CODES[name].display,
  };
  const start = `{"code":${concept([coding])},"valueQuantity":{"value":`;
  ofBase.set(name, start);
  return start;
}

/** A reference up to the drain in its id. */
export function referenceStart(name: FactName): string {
  const found = references.get(name) ?? `{"reference":"Observation/${name}.`;
  references.set(name, found);
  return found;
}
const references = new Map<FactName, string>();
