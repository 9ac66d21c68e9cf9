/** What this service says it can do: made from the rows that routes and searches are made from. */
import type { CapabilityStatement, CapabilityStatementRestResource } from 'fhir/r4.js';
import { modifiersOf } from './search/read-criterion.ts';
import {
  OPERATIONS,
  RESOURCE_TYPES,
  type ResourceType,
  type SearchParameter,
  SYSTEM_INTERACTIONS,
} from './search/resource-types.ts';

export interface CapabilitySettings {
  /** Without a slash at the end. */
  readonly publicUrl: string;
  readonly canonical: string;
  /** IANA name of the zone in which search values without an offset are read. */
  readonly zone: string;
  /** RFC 3339. */
  readonly started: string;
}

export function capabilityStatement(settings: CapabilitySettings): CapabilityStatement {
  const { publicUrl, canonical, zone, started } = settings;
  return {
    resourceType: 'CapabilityStatement',
    url: `${canonical}/CapabilityStatement/drainledger`,
    status: 'active',
    date: started,
    kind: 'instance',
    software: { name: 'drainledger' },
    implementation: {
      description:
        'Chest-drain observations. Not an alarm and not a medical device; local policy and the responsible clinician decide.',
      url: `${publicUrl}/fhir`,
    },
    fhirVersion: '4.0.1',
    format: ['json', 'application/fhir+json'],
    rest: [
      {
        mode: 'server',
        documentation: `Dates without an offset are read in ${zone}. Searches are strict unless Prefer: handling=lenient is sent; pages of one search are all of the moment of its first. Resources are never deleted.`,
        resource: RESOURCE_TYPES.map((type) => resource(type, zone)),
        interaction: SYSTEM_INTERACTIONS.map((code) => ({ code })),
      },
    ],
  };
}

function resource(row: ResourceType, zone: string): CapabilityStatementRestResource {
  return {
    type: row.type as CapabilityStatementRestResource['type'],
    interaction: row.interactions.map((code) => ({ code })),
    versioning: row.interactions.includes('update') ? 'versioned-update' : 'versioned',
    readHistory: row.interactions.includes('vread'),
    updateCreate: false,
    conditionalCreate: row.interactions.includes('create'),
    conditionalRead: 'full-support',
    conditionalUpdate: false,
    conditionalDelete: 'not-supported',
    ...(row.includes.length === 0
      ? {}
      : { searchInclude: row.includes.map((name) => `${row.type}:${name}`) }),
    searchParam: row.parameters.map((each) => ({
      name: each.name,
      type: each.kind,
      definition: each.definition,
      documentation: documentation(each, zone),
    })),
    ...(row.operations.length === 0
      ? {}
      : { operation: row.operations.map((name) => ({ name, definition: OPERATIONS[name].definition })) }),
  };
}

function documentation(parameter: SearchParameter, zone: string): string {
  const modifiers = modifiersOf(parameter).map((each) => `:${each}`);
  const parts = [
    parameter.documentation,
    ...(parameter.kind === 'date' ? [`That zone is ${zone}.`] : []),
    ...(modifiers.length === 0 ? [] : [`Modifiers: ${modifiers.join(' ')}.`]),
    ...(parameter.kind === 'reference' ? [`Chain: ${parameter.name}.identifier.`] : []),
  ];
  return parts.join(' ');
}
