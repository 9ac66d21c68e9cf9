/**
 * One row a resource type that can be read and searched, one row a parameter: routes, index, CapabilityStatement and
 * API reference are made from these. Names, types and meanings: FHIR R4 searchparameter-registry.html.
 */

/** Where the index keeps what a parameter asks for. */
export type Home =
  /** What many resources share: codes, status, unit. */
  | 'shape'
  /** A text of the resource's own: identifiers and references. */
  | 'word'
  | 'subject'
  | 'effective'
  | 'value'
  | 'updated'
  | 'id';

import { STATS_PARAMETERS } from './stats-parameters.ts';

export type ParameterKind = 'token' | 'reference' | 'date' | 'quantity' | 'composite';

export interface SearchParameter {
  readonly name: string;
  readonly kind: ParameterKind;
  readonly home: Home;
  /** Elements that it looks at, in dots. */
  readonly paths: readonly string[];
  /** Of a reference: the types that an id without type may mean. */
  readonly targets?: readonly string[];
  /** Of an element of type code: its code system. */
  readonly system?: string;
  readonly definition: string;
  readonly documentation: string;
}

export type Interaction =
  | 'create'
  | 'update'
  | 'read'
  | 'vread'
  | 'history-instance'
  | 'history-type'
  | 'search-type';
export type Operation = 'lastn' | 'stats';

export interface ResourceType {
  readonly type: string;
  readonly interactions: readonly Interaction[];
  /** Elements of a summary (isSummary in the StructureDefinition); those that must be there come first. */
  readonly mandatory: readonly string[];
  readonly summary: readonly string[];
  readonly parameters: readonly SearchParameter[];
  /** Parameters that a result can be sorted by. */
  readonly sortable: readonly string[];
  /** Reference parameters that `_include` follows, to types held here. */
  readonly includes: readonly string[];
  readonly operations: readonly Operation[];
}

const R4 = 'http://hl7.org/fhir/SearchParameter';
const PRACTICE = ['Practitioner', 'PractitionerRole', 'Organization', 'CareTeam', 'Patient', 'RelatedPerson'];
const DATES =
  'Prefixes eq ne gt lt ge le sa eb ap, as the text of FHIR R4 says: eq holds what lies wholly within the value; gt asks that the end is later than the value, lt that the start is earlier; ge and le are gt or eq, lt or eq. Values without an offset are in the zone of this service.';

/** Of every type. */
const COMMON: readonly SearchParameter[] = [
  {
    name: '_id',
    kind: 'token',
    home: 'id',
    paths: ['id'],
    definition: `${R4}/Resource-id`,
    documentation: 'Logical ids.',
  },
  {
    name: '_lastUpdated',
    kind: 'date',
    home: 'updated',
    paths: ['meta.lastUpdated'],
    definition: `${R4}/Resource-lastUpdated`,
    documentation: `When the current version was issued. ${DATES}`,
  },
];

type Rest = Omit<SearchParameter, 'name' | 'kind' | 'paths' | 'home' | 'definition' | 'documentation'>;

const ofObservation =
  (kind: ParameterKind, home: Home, origin: 'Observation' | 'clinical' = 'Observation') =>
  (name: string, paths: readonly string[], documentation: string, rest: Rest = {}): SearchParameter => ({
    name,
    kind,
    home,
    paths,
    definition: `${R4}/${origin}-${name}`,
    documentation,
    ...rest,
  });
const token = ofObservation('token', 'shape');
const reference = ofObservation('reference', 'word');
const subject = ofObservation('reference', 'subject');

const OBSERVATION: ResourceType = {
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
      ...ofObservation('date', 'effective', 'clinical')(
        'date',
        ['effectiveDateTime', 'effectivePeriod', 'effectiveInstant', 'effectiveTiming'],
        `When it was true of the patient. ${DATES}`,
      ),
    },
    {
      ...ofObservation('token', 'word', 'clinical')('identifier', ['identifier'], 'Business identifier.'),
    },
    reference('device', ['device'], 'Device that measured.', { targets: ['Device', 'DeviceMetric'] }),
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
    ofObservation('quantity', 'value')(
      'value-quantity',
      ['valueQuantity'],
      'Value; UCUM units are converted. A bound such as >= 150 counts as all that it may be. eq is the range that the digits imply, gt lt ge le compare with the number itself.',
    ),
    ofObservation('composite', 'value')(
      'code-value-quantity',
      ['code', 'valueQuantity'],
      'Code and value of one observation, as code$value.',
    ),
  ],
  sortable: ['date', '_lastUpdated', '_id', 'code', 'status'],
  includes: ['derived-from', 'has-member'],
  operations: ['lastn', 'stats'],
};

export const RESOURCE_TYPES: readonly ResourceType[] = [OBSERVATION];

/** Types that an interaction is offered for. */
export const typesThat = (interaction: Interaction): readonly ResourceType[] =>
  RESOURCE_TYPES.filter(({ interactions }) => interactions.includes(interaction));

/** Interactions with the service as a whole. */
export const SYSTEM_INTERACTIONS = ['transaction', 'batch'] as const;

/** Parameters of every search that shape the result: what each does. */
export const SHAPING = {
  _count: 'Most resources on a page: 100 unless given, 1000 at most; 0 gives the total alone.',
  _sort:
    'Keys in order, - before one for descending: date is the end of the effective time; -date unless given.',
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
    parameters: { max: 'How many of each code; 1 unless given.' },
  },
  stats: {
    definition: 'http://hl7.org/fhir/OperationDefinition/Observation-stats',
    parameters: STATS_PARAMETERS,
  },
};
