/** What this service says it can do: made from the rows that routes and searches are made from. */
import type {
  CapabilityStatement,
  CapabilityStatementRestResource,
  CapabilityStatementRestSecurity,
} from 'fhir/r4.js';
import { BULK_CAPABILITY, BULK_LEVELS, type BulkLevel } from './bulk.ts';
import { modifiersOf } from './search/read-criterion.ts';
import { includeName, revincludeName } from './search/read-query.ts';
import type { ResourceType, SearchParameter } from './search/resource-type.ts';
import { ALL_TYPES, OPERATIONS, SYSTEM_INTERACTIONS } from './search/resource-types.ts';
import { DEFINITION_TYPES } from './search/type-definitions.ts';

export interface CapabilitySettings {
  /** Without a slash at the end. */
  readonly publicUrl: string;
  readonly canonical: string;
  /** IANA name of the zone in which search values without an offset are read. */
  readonly zone: string;
  /** RFC 3339. */
  readonly started: string;
  /** Whether `.well-known/smart-configuration` says where clients get tokens. */
  readonly isSmart: boolean;
}

export function capabilityStatement(settings: CapabilitySettings): CapabilityStatement {
  const { publicUrl, canonical, zone, started, isSmart } = settings;
  return {
    resourceType: 'CapabilityStatement',
    url: `${canonical}/CapabilityStatement/drainledger`,
    status: 'active',
    date: started,
    kind: 'instance',
    instantiates: [BULK_CAPABILITY],
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
        ...(isSmart ? { security: SMART } : {}),
        documentation: `Dates without an offset are read in ${zone}. Searches are strict unless Prefer: handling=lenient is sent; pages of one search are all of the moment of its first. Nothing is deleted but by a lawful erasure, after which a read is answered 410.`,
        resource: [
          ...[...ALL_TYPES, ...DEFINITION_TYPES].map((type) => resource(type, zone)),
          ...BULK_LEVELS.flatMap(exportedAt),
        ],
        interaction: SYSTEM_INTERACTIONS.map((code) => ({ code })),
        operation: BULK_LEVELS.filter(({ type }) => type === null).map(exportOf),
      },
    ],
  };
}

/** SMART App Launch 2.2.0, conformance.html. */
const SMART: CapabilityStatementRestSecurity = {
  service: [
    {
      coding: [
        {
          system: 'http://terminology.hl7.org/CodeSystem/restful-security-service',
          code: 'SMART-on-FHIR',
          display: 'SMART-on-FHIR',
        },
      ],
    },
  ],
};

function resource(row: ResourceType, zone: string): CapabilityStatementRestResource {
  const isVersioned = row.interactions.includes('vread');
  return {
    type: row.type as CapabilityStatementRestResource['type'],
    interaction: row.interactions.map((code) => ({ code })),
    versioning: versioningOf(row),
    readHistory: isVersioned,
    updateCreate: false,
    conditionalCreate: row.interactions.includes('create'),
    conditionalRead: isVersioned ? 'full-support' : 'not-supported',
    conditionalUpdate: false,
    conditionalDelete: 'not-supported',
    ...listed(
      'searchInclude',
      row.includes.map((each) => includeName(row.type, each)),
    ),
    ...listed('searchRevInclude', row.revincludes.map(revincludeName)),
    searchParam: row.parameters.map((each) => ({
      name: each.name,
      type: each.kind,
      definition: each.definition,
      documentation: documentation(each, zone),
    })),
    ...listed(
      'operation',
      row.operations.map((name) => ({ name, definition: OPERATIONS[name].definition })),
    ),
  };
}

/** Of a type that is not held here, and at which an export can be asked for. */
const exportedAt = (level: BulkLevel): CapabilityStatementRestResource[] =>
  level.type === null
    ? []
    : [
        {
          type: level.type as CapabilityStatementRestResource['type'],
          documentation: 'Patients are held elsewhere: what is issued refers to them.',
          operation: [exportOf(level)],
        },
      ];

const exportOf = ({ definition }: BulkLevel) => ({ name: 'export', definition });

function versioningOf({ interactions }: ResourceType): 'no-version' | 'versioned' | 'versioned-update' {
  if (interactions.includes('update')) return 'versioned-update';
  return interactions.includes('vread') ? 'versioned' : 'no-version';
}

/** FHIR knows no empty lists. */
const listed = <N extends string, T>(name: N, values: T[]): { [name in N]?: T[] } =>
  (values.length === 0 ? {} : { [name]: values }) as { [name in N]?: T[] };

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
