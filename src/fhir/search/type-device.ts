import { COMMON, rowOf } from './parameters.ts';
import type { ResourceType } from './resource-type.ts';

const token = rowOf('Device', 'token', 'shape');

export const DEVICE: ResourceType = {
  type: 'Device',
  interactions: ['create', 'update', 'read', 'vread', 'history-instance', 'history-type', 'search-type'],
  mandatory: [],
  summary: ['status'],
  parameters: [
    ...COMMON,
    rowOf('Device', 'reference', 'subject')(
      'patient',
      ['patient'],
      'The patient whose drain it is attached to.',
      {
        targets: ['Patient'],
      },
    ),
    token('type', ['type'], 'Kind of collection unit; of a registered device collection-unit or monitor.'),
    token(
      'status',
      ['status'],
      'Of a registered device active or inactive; entered-in-error where its entry was.',
      {
        system: 'http://hl7.org/fhir/device-status',
      },
    ),
    rowOf('Device', 'token', 'word')(
      'identifier',
      ['identifier'],
      'Business identifier; of a registered device what it is known by.',
    ),
  ],
  sortable: ['_lastUpdated', '_id', 'status'],
  includes: [],
  revincludes: [{ parameter: 'target', type: 'Provenance' }],
  operations: [],
};
