import { COMMON, DATES, rowOf } from './parameters.ts';
import type { ResourceType } from './resource-type.ts';

const token = rowOf('Provenance', 'token', 'shape');
const reference = rowOf('Provenance', 'reference', 'word');

export const PROVENANCE: ResourceType = {
  type: 'Provenance',
  interactions: ['read', 'vread', 'history-instance', 'history-type', 'search-type'],
  mandatory: ['target', 'recorded', 'agent'],
  summary: ['target', 'recorded'],
  parameters: [
    ...COMMON,
    reference(
      'target',
      ['target'],
      'What was issued: an id, or type and id; all versions of it. An id without a type is of an Observation or a Device.',
      { targets: ['Observation', 'Device'] },
    ),
    rowOf('Provenance', 'reference', 'subject')(
      'patient',
      ['extension.valueReference'],
      'The patient whom the targets are about, as the element that R5 gave Provenance says it: here an extension.',
      { targets: ['Patient'] },
    ),
    rowOf('Provenance', 'date', 'effective')(
      'recorded',
      ['recorded'],
      `When the entry was recorded. ${DATES}`,
    ),
    reference('agent', ['agent.who'], 'Who charted it: a person or a device, as charted.', {
      targets: ['Practitioner', 'PractitionerRole', 'RelatedPerson', 'Patient', 'Device', 'Organization'],
    }),
    token('agent-type', ['agent.type'], 'How the agent took part: author, assembler or transmitter.'),
    reference(
      'entity',
      ['entity.what'],
      "The entry that it comes from, and the one that was replaced or taken back: ask by entity:identifier with the sender's own key.",
      { targets: ['Observation', 'Device'] },
    ),
  ],
  sortable: ['recorded', '_lastUpdated', '_id'],
  includes: [],
  revincludes: [],
  operations: [],
};
