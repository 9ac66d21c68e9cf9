/** Where devices were, made from their assignments when it is asked for: one version is shown, the newest. */
import { LOGICAL_ID, rowOf } from './parameters.ts';
import type { ResourceType } from './resource-type.ts';

const reference = rowOf('DeviceUseStatement', 'reference', 'word');

export const DEVICE_USE: ResourceType = {
  type: 'DeviceUseStatement',
  isProjected: true,
  interactions: ['create', 'update', 'read', 'search-type'],
  mandatory: ['status', 'subject', 'device'],
  summary: [],
  parameters: [
    LOGICAL_ID,
    rowOf('DeviceUseStatement', 'token', 'word')('identifier', ['identifier'], 'Of the assignment.'),
    reference('device', ['device'], 'The device that is registered here.', { targets: ['Device'] }),
    rowOf('clinical', 'reference', 'word')('patient', ['subject'], 'The patient whose drain it was on.', {
      targets: ['Patient'],
    }),
    reference('subject', ['subject'], 'The patient whose drain it was on.', { targets: ['Patient'] }),
  ],
  sortable: ['_id'],
  includes: [],
  revincludes: [],
  operations: [],
};
