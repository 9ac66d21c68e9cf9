/**
 * One row a resource type that can be read and searched, one row a parameter: routes, index, CapabilityStatement and
 * API reference are made from these. Names, types and meanings: FHIR R4 searchparameter-registry.html.
 */

import type { Operation, ResourceType } from './resource-type.ts';
import { STATS_PARAMETERS } from './stats-parameters.ts';
import { AUDIT_EVENT } from './type-audit-event.ts';
import { DEVICE } from './type-device.ts';
import { DEVICE_USE } from './type-device-use.ts';
import { OBSERVATION } from './type-observation.ts';
import { PROVENANCE } from './type-provenance.ts';

export const RESOURCE_TYPES: readonly ResourceType[] = [OBSERVATION, DEVICE, PROVENANCE, AUDIT_EVENT];

/** All that can be asked for: those that are indexed, and those that are made when they are asked for. */
export const ALL_TYPES: readonly ResourceType[] = [...RESOURCE_TYPES, DEVICE_USE];

/** Interactions with the service as a whole. */
export const SYSTEM_INTERACTIONS = ['transaction', 'batch'] as const;

/** Parameters of every search that shape the result: what each does. */
export const SHAPING = {
  _count: 'Most resources on a page: 100 unless given, 1000 at most; 0 gives the total alone.',
  _sort: 'Keys in order, with commas between and - before one for descending.',
  _total: 'none, estimate or accurate; without it the total is given where it costs nothing.',
  _summary: 'true, false, text, data or count.',
  _elements: 'Elements to show, with commas between; those that must be there stay.',
} as const satisfies Readonly<Record<string, string>>;

/** Operations by name: what they take beside the parameters of a search, where they take those. */
export const OPERATIONS: Readonly<
  Record<Operation, { readonly definition: string; readonly parameters: Readonly<Record<string, string>> }>
> = {
  lastn: {
    definition: 'http://hl7.org/fhir/OperationDefinition/Observation-lastn',
    parameters: { max: 'How many of each code; 1 unless given. Over 10000 in all are refused.' },
  },
  stats: {
    definition: 'http://hl7.org/fhir/OperationDefinition/Observation-stats',
    parameters: STATS_PARAMETERS,
  },
};
