/** Our value sets: each code system whole, and the parts of them that elements are bound to. */
import type { CodeSystem, ValueSet } from 'fhir/r4.js';
import { FACT_CODES } from '../codes.ts';
import { COMPONENT_CODES } from '../component-codes.ts';
import { UNIT_KINDS, UNIT_PROPERTIES } from '../device-codes.ts';
import { RAW_CODES } from '../raw-codes.ts';
import { VALUE_CODES } from '../value-codes.ts';
import { definitionUrl, headOf } from './definition.ts';

export function valueSets(canonical: string, systems: readonly CodeSystem[]): readonly ValueSet[] {
  const part = (name: string, title: string, system: string, codes: readonly string[]): ValueSet => ({
    resourceType: 'ValueSet',
    ...headOf(canonical, 'ValueSet', { name, title, description: `${title}, as this service issues them.` }),
    compose: {
      include: [
        {
          system: definitionUrl(canonical, 'CodeSystem', system),
          concept: codes.map((code) => ({ code })),
        },
      ],
    },
  });
  const values = Object.entries(VALUE_CODES).map(([name, rows]) =>
    part(
      name,
      `Values of ${RAW_CODES[name]?.display ?? name}`,
      'value',
      Object.keys(rows).map((value) => `${name}-${value}`),
    ),
  );
  return [
    ...systems.map((system) => whole(canonical, system)),
    part('code', 'Codes of chest drain observations', 'observation', Object.keys(FACT_CODES)),
    part('component', 'Codes of their components', 'observation', Object.keys(COMPONENT_CODES)),
    part('unit-kind', 'Kinds of collection unit', 'unit', Object.keys(UNIT_KINDS)),
    part('unit-property', 'Properties of a collection unit', 'unit', Object.keys(UNIT_PROPERTIES)),
    ...values,
  ];
}

function whole(canonical: string, { id, url, title = '' }: CodeSystem): ValueSet {
  const name = `${id?.replace('chest-drain-', '')}-all`;
  return {
    resourceType: 'ValueSet',
    ...headOf(canonical, 'ValueSet', { name, title, description: `All of ${url}.` }),
    compose: { include: [{ ...(url === undefined ? {} : { system: url }) }] },
  };
}
