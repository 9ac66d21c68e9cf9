/** The parts of an Observation that only its kind and the drain's site decide: written once, then kept. */
import type { Site } from '../domain/entry.ts';
import type { ComponentName, FactName, Flag } from '../domain/fact.ts';
import type { IssueStatus } from '../domain/issue.ts';
import {
  type Coding,
  DRAIN_OUTPUT,
  FACT_CODES,
  FLUID_BALANCE,
  OBSERVATION_CATEGORY,
  SITE_CODES,
  UCUM,
  type Unit,
} from './codes.ts';
import { COMPONENT_CODES } from './component-codes.ts';

export interface FixedParts {
  /** From the end of the identifier to the end of the code, by status. */
  readonly statusToCode: Readonly<Record<IssueStatus, string>>;
  readonly bodySite: string;
}

const CATEGORY_DISPLAY = { exam: 'Exam', therapy: 'Therapy', 'vital-signs': 'Vital Signs' } as const;

/** What all Observations of a process share, under its canonical base URL. */
export interface FixedTexts {
  parts(site: Site | null, name: FactName): FixedParts;
  /** A component up to the digits of its value. */
  componentStart(name: ComponentName): string;
  /** An interpretation. */
  flag(flag: Flag): string;
}

export function createFixedTexts(canonical: string): FixedTexts {
  const bySite = new Map<Site | null, Map<FactName, FixedParts>>();
  const components = new Map<ComponentName, string>();
  const flags = new Map<Flag, string>();
  return {
    parts(site, name) {
      const ofSite = kept(bySite, site, () => new Map<FactName, FixedParts>());
      return kept(ofSite, name, () => fixedParts(canonical, site, name));
    },
    componentStart: (name) => kept(components, name, () => componentStart(canonical, name)),
    flag: (flag) => kept(flags, flag, () => flagConcept(canonical, flag)),
  };
}

function kept<K, V>(map: Map<K, V>, key: K, make: () => V): V {
  const found = map.get(key);
  if (found !== undefined) return found;
  const made = make();
  map.set(key, made);
  return made;
}

function fixedParts(canonical: string, site: Site | null, name: FactName): FixedParts {
  const categoryAndCode = `"category":${categories(name)},"code":${code(canonical, site, name)}`;
  const withStatus = (status: IssueStatus) => `"}],"status":"${status}",${categoryAndCode}`;
  return {
    statusToCode: {
      preliminary: withStatus('preliminary'),
      final: withStatus('final'),
      amended: withStatus('amended'),
      corrected: withStatus('corrected'),
      'entered-in-error': withStatus('entered-in-error'),
    },
    bodySite: site === null || NOT_OF_ONE_SITE.test(name) ? '' : `,"bodySite":${concept([SITE_CODES[site]])}`,
  };
}

const NOT_OF_ONE_SITE = /^(body-weight|patient-.*)$/;

function componentStart(canonical: string, name: ComponentName): string {
  const coding = {
    system: localSystem(canonical, 'observation'),
    code: name,
    display: COMPONENT_CODES[name].display,
  };
  return `{"code":${concept([coding])},"valueQuantity":{"value":`;
}

function flagConcept(canonical: string, flag: Flag): string {
  return concept([{ system: localSystem(canonical, 'flag'), code: flag, display: flag }]);
}

export const localSystem = (canonical: string, name: 'observation' | 'value' | 'flag' | 'rule'): string =>
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
    'mL/kg': end('mL/kg'),
    'mL/kg/h': end('mL/kg/h'),
    'cm[H2O]': end('cm[H2O]'),
    'mL/min': end('mL/min'),
    kg: end('kg'),
    d: end('d'),
    '1': end('1'),
  };
};
const QUANTITY_ENDS = endWith('');
const LOWER_BOUND_ENDS = endWith(',"comparator":">="');
