/** The parts of an Observation that only its kind and the drain's site decide: written once, then kept. */

import type { IssueStatus } from '../domain/facts/issue.ts';
import type { Terminology } from '../domain/vocabulary/configuration.ts';
import type { Site } from '../domain/vocabulary/entry.ts';
import type { ComponentName, Flag, ObservationName } from '../domain/vocabulary/fact.ts';
import { CATEGORIES, FACT_CODES } from './codes.ts';
import {
  type Coding,
  DRAIN_OUTPUT,
  FLUID_BALANCE,
  OBSERVATION_CATEGORY,
  PRESENCE,
  SITE_CODES,
  UCUM,
  type Unit,
} from './codings.ts';
import { COMPONENT_CODES } from './component-codes.ts';
import { definitionUrl } from './definitions/definition.ts';
import { FLAG_CODES } from './flag-codes.ts';
import { displayOf } from './value-codes.ts';

export interface FixedParts {
  /** Up to the drain in the id. */
  readonly start: string;
  /** From the end of `lastUpdated` to the drain in the identifier. */
  readonly identifier: string;
  /** From the end of the identifier to the end of the code, by status. */
  readonly statusToCode: Readonly<Record<IssueStatus, string>>;
  readonly bodySite: string;
}

/** What all Observations of a process share, under its canonical base URL and its choice of codings. */
export interface FixedTexts {
  parts(site: Site | null, name: ObservationName): FixedParts;
  /** A component up to the digits of its value. */
  componentStart(name: ComponentName): string;
  /** A coded value. @throws {Error} when the fact has none such */
  value(name: ObservationName, code: string): string;
  /** An interpretation. */
  flag(flag: Flag): string;
}

export function createFixedTexts(canonical: string, terminology: Terminology): FixedTexts {
  const bySite = new Map<Site | null, Map<ObservationName, FixedParts>>();
  const components = new Map<ComponentName, string>();
  const flags = new Map<Flag, string>();
  const values = new Map<string, string>();
  return {
    parts(site, name) {
      const ofSite = kept(bySite, site, () => new Map<ObservationName, FixedParts>());
      return kept(ofSite, name, () => fixedParts({ canonical, terminology }, site, name));
    },
    componentStart: (name) => kept(components, name, () => componentStart(canonical, name)),
    flag: (flag) => kept(flags, flag, () => flagConcept(canonical, flag)),
    value: (name, code) =>
      kept(values, `${name}-${code}`, () => codedValue({ canonical, terminology }, name, code)),
  };
}

function kept<K, V>(map: Map<K, V>, key: K, make: () => V): V {
  const found = map.get(key);
  if (found !== undefined) return found;
  const made = make();
  map.set(key, made);
  return made;
}

interface Base {
  readonly canonical: string;
  readonly terminology: Terminology;
}

function fixedParts(base: Base, site: Site | null, name: ObservationName): FixedParts {
  const { canonical, terminology } = base;
  const categoryAndCode = `"category":${categories(terminology, name)},"code":${code(base, site, name)}`;
  const withStatus = (status: IssueStatus) => `"}],"status":"${status}",${categoryAndCode}`;
  return {
    start: `{"resourceType":"Observation","id":"${name}.`,
    identifier: `"},"identifier":[{"system":"${canonical}/observation","value":"${name}.`,
    statusToCode: {
      preliminary: withStatus('preliminary'),
      final: withStatus('final'),
      amended: withStatus('amended'),
      corrected: withStatus('corrected'),
      'entered-in-error': withStatus('entered-in-error'),
    },
    bodySite:
      site === null || NOT_OF_ONE_SITE.test(name) ? '' : `,"bodySite":${siteConcept(terminology, site)}`,
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
  return concept([{ system: localSystem(canonical, 'flag'), code: flag, display: FLAG_CODES[flag].display }]);
}

export const localSystem = (
  canonical: string,
  name: 'observation' | 'value' | 'flag' | 'rule' | 'unit',
): string => definitionUrl(canonical, 'CodeSystem', name);

export function concept(codings: readonly Coding[], text?: string): string {
  return JSON.stringify(text === undefined ? { coding: codings } : { coding: codings, text });
}

/** Without SNOMED CT the words alone: no other system has codes for these sites that have been seen. */
const siteConcept = ({ snomed }: Terminology, site: Site): string =>
  snomed ? concept([SITE_CODES[site]]) : JSON.stringify({ text: SITE_CODES[site].display });

function categories({ snomed, categories: chosen }: Terminology, name: ObservationName): string {
  const { category: usual, fluid_volume } = FACT_CODES[name];
  const category = chosen[name] ?? usual;
  const own = concept([{ system: OBSERVATION_CATEGORY, code: category, display: CATEGORIES[category] }]);
  return fluid_volume && snomed ? `[${own},${concept([FLUID_BALANCE])}]` : `[${own}]`;
}

function code({ canonical, terminology }: Base, site: Site | null, name: ObservationName): string {
  const { display, loinc, fluid_volume } = FACT_CODES[name];
  const standard = loinc?.(site) ?? null;
  const local: Coding = { system: localSystem(canonical, 'observation'), code: name, display };
  const broader = fluid_volume && terminology.snomed ? [DRAIN_OUTPUT] : [];
  return concept([...(standard === null ? [] : [standard]), local, ...broader], display);
}

function codedValue({ canonical, terminology }: Base, name: ObservationName, code: string): string {
  const system = localSystem(canonical, 'value');
  const local: Coding = { system, code: `${name}-${code}`, display: displayOf(name, code) };
  const presence = name === 'tidaling' && terminology.snomed ? PRESENCE[code] : undefined;
  return concept(presence === undefined ? [local] : [local, presence], local.display);
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
