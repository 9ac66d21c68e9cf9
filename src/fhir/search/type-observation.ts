import { COMMON, DATES, PRACTICE, R4, rowOf } from './parameters.ts';
import type { ResourceType } from './resource-type.ts';

const token = rowOf('Observation', 'token', 'shape');
const reference = rowOf('Observation', 'reference', 'word');
const subject = rowOf('Observation', 'reference', 'subject');

export const OBSERVATION: ResourceType = {
  type: 'Observation',
  interactions: ['create', 'update', 'read', 'vread', 'history-instance', 'history-type', 'search-type'],
  mandatory: ['status', 'code'],
  summary: [
    'identifier',
    'basedOn',
    'partOf',
    'subject',
    'focus',
    'encounter',
    'effectiveDateTime',
    'effectivePeriod',
    'effectiveTiming',
    'effectiveInstant',
    'issued',
    'performer',
    'valueQuantity',
    'valueCodeableConcept',
    'valueString',
    'valueBoolean',
    'valueInteger',
    'valueRange',
    'valueRatio',
    'valueSampledData',
    'valueTime',
    'valueDateTime',
    'valuePeriod',
    'hasMember',
    'derivedFrom',
    'component',
  ],
  parameters: [
    ...COMMON,
    {
      ...subject('patient', ['subject'], 'The patient: an id, Patient/id, or the URL of either.', {
        targets: ['Patient'],
      }),
      definition: `${R4}/clinical-patient`,
    },
    subject('subject', ['subject'], 'What it is about; an id without type may be of any type.', {
      targets: ['Patient', 'Group', 'Device', 'Location'],
    }),
    { ...token('code', ['code'], 'Code of the observation.'), definition: `${R4}/clinical-code` },
    token('combo-code', ['code', 'component.code'], 'Code of the observation or of a component.'),
    token('component-code', ['component.code'], 'Code of a component.'),
    token('category', ['category'], 'Category, such as exam or vital-signs.'),
    token('status', ['status'], 'Status; entered-in-error is found unless it is left out by status.', {
      system: 'http://hl7.org/fhir/observation-status',
    }),
    token('data-absent-reason', ['dataAbsentReason'], 'Why there is no value.'),
    {
      ...rowOf('clinical', 'date', 'effective')(
        'date',
        ['effectiveDateTime', 'effectivePeriod', 'effectiveInstant', 'effectiveTiming'],
        `When it was true of the patient. ${DATES}`,
      ),
    },
    {
      ...rowOf('clinical', 'token', 'word')('identifier', ['identifier'], 'Business identifier.'),
    },
    reference('device', ['device'], 'Collection unit that it was read off, or device that charted it.', {
      targets: ['Device', 'DeviceMetric'],
    }),
    {
      ...reference('encounter', ['encounter'], 'Encounter.', { targets: ['Encounter', 'EpisodeOfCare'] }),
      definition: `${R4}/clinical-encounter`,
    },
    reference('performer', ['performer'], 'Who charted it; derived values have none.', { targets: PRACTICE }),
    reference('derived-from', ['derivedFrom'], 'Observation that it was worked out from.', {
      targets: [
        'Observation',
        'DocumentReference',
        'ImagingStudy',
        'Media',
        'QuestionnaireResponse',
        'MolecularSequence',
      ],
    }),
    reference('has-member', ['hasMember'], 'Observation that it groups.', {
      targets: ['Observation', 'QuestionnaireResponse', 'MolecularSequence'],
    }),
    rowOf('Observation', 'quantity', 'value')(
      'value-quantity',
      ['valueQuantity'],
      'Value; UCUM units are converted. A bound such as >= 150 counts as all that it may be. eq is the range that the digits imply, gt lt ge le compare with the number itself.',
    ),
    rowOf('Observation', 'composite', 'value')(
      'code-value-quantity',
      ['code', 'valueQuantity'],
      'Code and value of one observation, as code$value.',
    ),
  ],
  sortable: ['date', '_lastUpdated', '_id', 'code', 'status'],
  includes: [
    { parameter: 'derived-from', type: 'Observation' },
    { parameter: 'has-member', type: 'Observation' },
    { parameter: 'device', type: 'Device' },
  ],
  revincludes: [{ parameter: 'target', type: 'Provenance' }],
  operations: ['lastn', 'stats'],
};
