/** Our code systems, made from the tables that the writers use. */
import type { CodeSystem, CodeSystemConcept, CodeSystemProperty } from 'fhir/r4.js';
import type { Rule } from '../../domain/vocabulary/rule.ts';
import { FACT_CODES } from '../codes.ts';
import { COMPONENT_CODES } from '../component-codes.ts';
import { UNIT_CODES } from '../device-codes.ts';
import { FLAG_CODES } from '../flag-codes.ts';
import { RECEIVED_ONLY } from '../raw-codes.ts';
import { VALUE_CODES } from '../value-codes.ts';
import { type Described, definitionUrl, headOf } from './definition.ts';

/** The rule table: its version, and every row that advisories may name. */
export interface KnownRules {
  readonly version: string;
  readonly rules: readonly Rule[];
}

export function codeSystems(canonical: string, { version, rules }: KnownRules): readonly CodeSystem[] {
  const make = (described: Described, concept: CodeSystemConcept[], property?: CodeSystemProperty[]) =>
    codeSystem(canonical, described, concept, property);
  return [
    make(
      OBSERVATION,
      [...factConcepts(), ...componentConcepts(), ...receivedConcepts()],
      [UNIT_PROPERTY, ROLE_PROPERTY],
    ),
    make(VALUE, valueConcepts()),
    make(FLAG, conceptsOf(FLAG_CODES)),
    make(UNIT, conceptsOf(UNIT_CODES)),
    make({ ...RULE, version }, rules.map(ruleConcept)),
  ];
}

const OBSERVATION = {
  name: 'observation',
  title: 'Chest drain observations',
  description:
    'What is charted and worked out of a chest drain. Sign: quantities named suction, seal or negativity are positive magnitudes below atmospheric pressure; quantities named pressure are signed against it, negative below; net volumes and rates are negative where more was put in than came out.',
};
const VALUE = {
  name: 'value',
  title: 'Values of chest drain observations',
  description: 'Coded values, each named after the observation that it is a value of.',
};
const FLAG = {
  name: 'flag',
  title: 'Marks on chest drain observations',
  description: 'How far a value can be relied on, as Observation.interpretation.',
};
const UNIT = {
  name: 'unit',
  title: 'Collection units of chest drains',
  description: 'Kinds of collection unit, and what is said of one.',
};
const RULE = {
  name: 'rule',
  title: 'Rules on chest drains',
  description:
    'Published and local thresholds that an advisory may name: those of the table in force, and others that ever were.',
};

const UNIT_PROPERTY: CodeSystemProperty = {
  code: 'unit',
  description: 'UCUM unit of the quantity.',
  type: 'string',
};
const ROLE_PROPERTY: CodeSystemProperty = {
  code: 'role',
  description:
    'observation: stands in Observation.code. component: stands in Observation.component.code. received: may come in as either, and is issued as neither.',
  type: 'code',
};

function codeSystem(
  canonical: string,
  described: Described,
  concept: CodeSystemConcept[],
  property: CodeSystemProperty[] = [],
): CodeSystem {
  return {
    resourceType: 'CodeSystem',
    ...headOf(canonical, 'CodeSystem', described),
    caseSensitive: true,
    valueSet: definitionUrl(canonical, 'ValueSet', `${described.name}-all`),
    content: 'complete',
    count: concept.length,
    ...(property.length === 0 ? {} : { property }),
    concept,
  };
}

type Rows = Readonly<Record<string, { readonly display: string; readonly definition: string }>>;

const conceptsOf = (rows: Rows): CodeSystemConcept[] =>
  Object.entries(rows).map(([code, { display, definition }]) => ({ code, display, definition }));

function factConcepts(): CodeSystemConcept[] {
  return Object.entries(FACT_CODES).map(([code, { display, definition, unit }]) => ({
    code,
    display,
    definition,
    property: [
      { code: 'role', valueCode: 'observation' },
      ...(unit === null ? [] : [{ code: 'unit', valueString: unit }]),
    ],
  }));
}

/** What a rule found is in the unit of the rule, so those components have none of their own. */
function componentConcepts(): CodeSystemConcept[] {
  return Object.entries(COMPONENT_CODES).map(([code, { display, definition, unit }]) => ({
    code,
    display,
    definition,
    property: [
      { code: 'role', valueCode: 'component' },
      ...(code.startsWith('rule-') ? [] : [{ code: 'unit', valueString: unit }]),
    ],
  }));
}

function receivedConcepts(): CodeSystemConcept[] {
  return RECEIVED_ONLY.map(([code, { display, definition }]) => ({
    code,
    display,
    definition,
    property: [{ code: 'role', valueCode: 'received' }],
  }));
}

const ORDINAL = 'http://hl7.org/fhir/StructureDefinition/ordinalValue';

function valueConcepts(): CodeSystemConcept[] {
  return Object.entries(VALUE_CODES).flatMap(([name, values]) =>
    Object.entries(values).map(([value, { display, definition, ordinal }]) => ({
      ...(ordinal === undefined ? {} : { extension: [{ url: ORDINAL, valueDecimal: ordinal }] }),
      code: `${name}-${value}`,
      display,
      definition,
    })),
  );
}

function ruleConcept(rule: Rule): CodeSystemConcept {
  const { id, title, operator, threshold, unit, source, evidence, changed, on } = rule;
  const limit =
    rule.quantity === 'unexplained-fall' || rule.quantity === 'swing-lost'
      ? ''
      : `${operator} ${threshold.text} ${unit}. `;
  const local = changed.length === 0 ? '' : ` Changed here: ${changed.join('; ')}.`;
  const off = on ? '' : ' Switched off.';
  return {
    code: id,
    display: title,
    definition: `${limit}Source: ${source} [${evidence}].${local}${off} For review by a clinician.`,
  };
}
