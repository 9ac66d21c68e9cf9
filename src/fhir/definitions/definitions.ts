/** All definitions that issued resources conform to. */
import type { CodeSystem, StructureDefinition, ValueSet } from 'fhir/r4.js';
import { codeSystems, type KnownRules } from './code-systems.ts';
import { profiles } from './profiles.ts';
import { valueSets } from './value-sets.ts';

export type Definition = CodeSystem | ValueSet | StructureDefinition;

/** @param canonical start of our canonical URLs, without a slash at the end */
export function definitions(canonical: string, rules: KnownRules): readonly Definition[] {
  const systems = codeSystems(canonical, rules);
  return [...systems, ...valueSets(canonical, systems), ...profiles(canonical)];
}
