/** One profile a fact, made from its row, and one each of the unit and of the Provenance. Differentials only: a validator makes the rest. */
import type { ElementDefinition, StructureDefinition } from 'fhir/r4.js';
import type { ObservationName } from '../../domain/vocabulary/fact.ts';
import { FACT_CODES, type FactCode } from '../codes.ts';
import { PARTICIPANT, UCUM, US_CORE_PARTICIPANT } from '../codings.ts';
import { type Described, definitionUrl, headOf } from './definition.ts';

const R4_DEFINITION = 'http://hl7.org/fhir/StructureDefinition';

export function profiles(canonical: string): readonly StructureDefinition[] {
  const facts = Object.entries(FACT_CODES) as [ObservationName, FactCode][];
  return [
    ...facts.map(([name, row]) => factProfile(canonical, name, row)),
    profile(
      canonical,
      'Device',
      {
        name: 'collection-unit',
        title: 'Collection unit of a chest drain',
        description: 'The unit that is attached to a drain: kind, capacity and scale.',
      },
      unitElements(canonical),
    ),
    profile(
      canonical,
      'Provenance',
      {
        name: 'provenance',
        title: 'Provenance of a chest drain entry',
        description: 'What one entry issued about a drain, who charted it, and what it replaced.',
      },
      PROVENANCE_ELEMENTS,
    ),
  ];
}

function profile(
  canonical: string,
  type: string,
  described: Described,
  elements: readonly Element[],
): StructureDefinition {
  const root: Element[] = elements[0]?.path === '' ? [] : [{ path: '' }];
  return {
    resourceType: 'StructureDefinition',
    ...headOf(canonical, 'StructureDefinition', described),
    fhirVersion: '4.0.1',
    kind: 'resource',
    abstract: false,
    type,
    baseDefinition: `${R4_DEFINITION}/${type}`,
    derivation: 'constraint',
    differential: {
      element: [...root, ...elements].map(({ path, ...rest }) => {
        const full = path === '' ? type : `${type}.${path}`;
        return { id: full, path: full, ...rest };
      }),
    },
  };
}

/** `path` without the type, in the order of the base definition. */
type Element = Omit<ElementDefinition, 'id'>;

const present = (path: string): Element => ({ path, min: 1 });
const never = (path: string): Element => ({ path, max: '0' });
const invariant = (key: string, human: string, expression: string) => ({
  key,
  severity: 'error' as const,
  human,
  expression,
});
const required = (canonical: string, valueSet: string) => ({
  strength: 'required' as const,
  valueSet: definitionUrl(canonical, 'ValueSet', valueSet),
});

function factProfile(canonical: string, name: ObservationName, row: FactCode): StructureDefinition {
  const { display, definition, time, charted, absent, value, components } = row;
  const system = definitionUrl(canonical, 'CodeSystem', 'observation');
  const elements: Element[] = [
    present('identifier'),
    present('category'),
    { path: 'code', patternCodeableConcept: { coding: [{ system, code: name }] } },
    { path: 'effective[x]', min: 1, type: [{ code: time === 'moment' ? 'dateTime' : 'Period' }] },
    present('issued'),
    ...(charted ? [] : [never('performer')]),
    valueElement(canonical, name, row),
    ...(absent === true ? [] : [never('dataAbsentReason')]),
    { path: 'interpretation', binding: required(canonical, 'flag-all') },
    ...(charted ? [] : [never('device')]),
    value === 'grouping' ? present('hasMember') : never('hasMember'),
    ...(charted ? [never('derivedFrom')] : []),
    ...(components === undefined ? [never('component')] : componentElements(canonical, components)),
  ];
  return profile(canonical, 'Observation', { name, title: display, description: definition }, elements);
}

function valueElement(canonical: string, name: ObservationName, row: FactCode): Element {
  const { value, unit, absent, signed } = row;
  const path = 'value[x]';
  const min = absent === true ? 0 : 1;
  switch (value) {
    case 'grouping':
      return never(path);
    case 'text':
      return { path, min, type: [{ code: 'string' }] };
    case 'code':
    case 'rule': {
      const bound = required(canonical, value === 'rule' ? 'rule-all' : name);
      return { path, min, type: [{ code: 'CodeableConcept' }], binding: bound };
    }
    case 'quantity':
      return {
        path,
        min,
        type: [{ code: 'Quantity' }],
        constraint: [
          BOUND,
          ...(signed === true ? [] : [MAGNITUDE]),
          invariant('drain-unit', `The unit is ${unit} of UCUM.`, `system = '${UCUM}' and code = '${unit}'`),
        ],
      };
    default:
      return value satisfies never;
  }
}

const BOUND = invariant(
  'drain-bound',
  'A value that is not known to its end is a lower bound.',
  "comparator.empty() or comparator = '>='",
);
const MAGNITUDE = invariant('drain-magnitude', 'It is a magnitude: 0 or more.', 'value >= 0');

function componentElements(canonical: string, components: readonly string[]): readonly Element[] {
  const system = definitionUrl(canonical, 'CodeSystem', 'observation');
  const codes = components.map((code) => `'${code}'`).join(' | ');
  return [
    {
      path: 'component',
      constraint: [
        invariant(
          'drain-component',
          `A component is one of ${components.join(', ')}.`,
          `code.coding.where(system = '${system}' and (code in (${codes}))).exists()`,
        ),
      ],
    },
    { path: 'component.code', binding: required(canonical, 'component') },
    { path: 'component.value[x]', min: 1, type: [{ code: 'Quantity' }] },
  ];
}

const unitElements = (canonical: string): readonly Element[] => [
  present('identifier'),
  present('deviceName'),
  { path: 'type', min: 1, binding: required(canonical, 'unit-kind') },
  present('property'),
  { path: 'property.type', binding: required(canonical, 'unit-property') },
  { path: 'property.valueQuantity', min: 1, max: '1' },
  never('property.valueCode'),
];

const once = (system: string, code: string): string =>
  `agent.where(type.coding.where(system = '${system}' and code = '${code}').exists()).count() = 1`;

const PROVENANCE_ELEMENTS: readonly Element[] = [
  {
    path: '',
    constraint: [
      invariant(
        'drain-agents',
        'One author, who charted it; and the service, that assembled and transmitted it.',
        [
          once(PARTICIPANT, 'author'),
          once(PARTICIPANT, 'assembler'),
          once(US_CORE_PARTICIPANT, 'transmitter'),
        ].join(' and '),
      ),
      invariant(
        'drain-replaced',
        'What replaces or takes back an entry names it and says why.',
        "reason.exists() = entity.where(role = 'revision' or role = 'removal').exists()",
      ),
    ],
  },
  {
    path: 'target',
    constraint: [
      invariant(
        'drain-versioned',
        'A target is one version.',
        "reference.matches('^(Observation|Device)/[A-Za-z0-9.-]+/_history/[1-9][0-9]*$')",
      ),
    ],
  },
  present('activity'),
  present('entity'),
];
