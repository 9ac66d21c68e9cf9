import { COMMON, DATES, PRACTICE, rowOf } from './parameters.ts';
import type { ResourceType } from './resource-type.ts';

const token = rowOf('AuditEvent', 'token', 'shape');
const reference = rowOf('AuditEvent', 'reference', 'word');

export const AUDIT_EVENT: ResourceType = {
  type: 'AuditEvent',
  isProjected: true,
  interactions: ['read', 'search-type'],
  mandatory: ['type', 'recorded', 'agent', 'source'],
  summary: ['type', 'subtype', 'action', 'recorded', 'outcome', 'outcomeDesc'],
  parameters: [
    ...COMMON,
    rowOf('AuditEvent', 'date', 'effective')('date', ['recorded'], `When it was recorded. ${DATES}`),
    rowOf('AuditEvent', 'reference', 'subject')(
      'patient',
      ['extension.valueReference'],
      'The patient whom it was about, as linked at that time.',
      { targets: ['Patient'] },
    ),
    reference(
      'agent',
      ['agent.who'],
      'Client, service, person or device that took part: clients and those who work with them by agent:identifier, whoever charted as charted.',
      { targets: [...PRACTICE, 'Device'] },
    ),
    reference(
      'entity',
      ['entity.what'],
      "What was read or written: a resource; a drain, the sender's own key of an entry or an X-Request-Id by entity:identifier.",
      { targets: ['Observation', 'Device', 'Provenance', 'Patient'] },
    ),
    reference('source', ['source.observer'], 'The service that recorded it: ask by source:identifier.', {
      targets: ['Device'],
    }),
    rowOf('AuditEvent', 'string', 'word')(
      'address',
      ['agent.network.address'],
      'IP address of the client, or name of the service: the beginning of it.',
    ),
    token('type', ['type'], 'rest, or 110100 of what the service itself did.'),
    token('subtype', ['subtype'], 'Interaction: read, search-type, create …'),
    token('action', ['action'], 'C, R, U or E.', { system: 'http://hl7.org/fhir/audit-event-action' }),
    token('outcome', ['outcome'], '0 success, 4 refused or not done.', {
      system: 'http://terminology.hl7.org/CodeSystem/audit-event-outcome',
    }),
    token('entity-type', ['entity.type'], '1 person, 2 system object.'),
    token('entity-role', ['entity.role'], '1 patient, 4 resource, 24 query.'),
  ],
  sortable: ['date', '_lastUpdated', '_id'],
  includes: [],
  revincludes: [],
  operations: [],
};
