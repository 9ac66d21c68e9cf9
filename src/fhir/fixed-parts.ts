/** The parts of an Observation that only its kind and the drain's site decide: written once, then kept. */
import type { Site } from '../domain/entry.ts';
import type { FactName } from '../domain/fact.ts';
import { type Coding, DRAIN_OUTPUT, FACT_CODES, FLUID_BALANCE, OBSERVATION_CATEGORY, SITE_CODES } from './codes.ts';

export interface FixedParts {
  readonly categoryAndCode: string;
  readonly bodySite: string;
}

const CATEGORY_DISPLAY = { exam: 'Exam', therapy: 'Therapy', 'vital-signs': 'Vital Signs' } as const;

/** At most sites × facts of them: five sites and the facts of codes.ts, for the one canonical base of a process. */
const kept = new Map<string, FixedParts>();

export function fixedParts(canonical: string, site: Site | null, name: FactName): FixedParts {
  const key = `${name} ${site} ${canonical}`;
  const found = kept.get(key);
  if (found !== undefined) return found;
  const parts = {
    categoryAndCode: `,"category":${categories(name)},"code":${code(canonical, site, name)}`,
    bodySite: site === null || name === 'body-weight' ? '' : `,"bodySite":${concept([SITE_CODES[site]])}`,
  };
  kept.set(key, parts);
  return parts;
}

export const localSystem = (canonical: string, name: 'observation' | 'value' | 'flag'): string =>
  `${canonical}/CodeSystem/chest-drain-${name}`;

export function concept(codings: readonly Coding[], text?: string): string {
  return JSON.stringify(text === undefined ? { coding: codings } : { coding: codings, text });
}

function categories(name: FactName): string {
  const { category, fluid_volume } = FACT_CODES[name];
  const own = concept([{ system: OBSERVATION_CATEGORY, code: category, display: CATEGORY_DISPLAY[category] }]);
  return fluid_volume ? `[${own},${concept([FLUID_BALANCE])}]` : `[${own}]`;
}

function code(canonical: string, site: Site | null, name: FactName): string {
  const { display, loinc, fluid_volume } = FACT_CODES[name];
  const standard = loinc?.(site) ?? null;
  const local: Coding = { system: localSystem(canonical, 'observation'), code: name, display };
  const codings = [...(standard === null ? [] : [standard]), local, ...(fluid_volume ? [DRAIN_OUTPUT] : [])];
  return concept(codings, display);
}
