/** The types of our definitions: made by the code and not issued, so they have no versions. */
import { LOGICAL_ID, R4 } from './parameters.ts';
import type { ResourceType, SearchParameter } from './resource-type.ts';

const PARAMETERS: readonly SearchParameter[] = [
  LOGICAL_ID,
  {
    name: 'url',
    kind: 'uri',
    home: 'word',
    paths: ['url'],
    definition: `${R4}/conformance-url`,
    documentation: 'Canonical URL, whole.',
  },
];

/** Elements of a summary that ours may have. */
const SUMMARY = ['url', 'version', 'name', 'title', 'status', 'experimental'];

const definitionType = (
  type: string,
  mandatory: readonly string[],
  summary: readonly string[],
): ResourceType => ({
  type,
  interactions: ['read', 'search-type'],
  mandatory,
  summary: [...SUMMARY, ...summary],
  parameters: PARAMETERS,
  sortable: ['_id'],
  includes: [],
  revincludes: [],
  operations: [],
});

export const DEFINITION_TYPES: readonly ResourceType[] = [
  definitionType('CodeSystem', ['status', 'content'], ['caseSensitive', 'valueSet', 'count', 'property']),
  definitionType('ValueSet', ['status'], []),
  definitionType(
    'StructureDefinition',
    ['url', 'name', 'status', 'kind', 'abstract', 'type'],
    ['fhirVersion', 'baseDefinition', 'derivation'],
  ),
];
