/** One parameter of a search, with its modifier or chain, into what it asks for. */
import { splitAt, unescaped } from './escape.ts';
import type { Criterion, Pair } from './query.ts';
import { readDate, readQuantity, readReference, readToken, readUri } from './read-values.ts';
import type { Reading } from './reading.ts';
import { notSupported, refused, UnknownParameter } from './refused.ts';
import type { ResourceType, SearchParameter } from './resource-type.ts';
import { SHAPING } from './resource-types.ts';

/** @throws {Refused} */
export function readCriterion(type: ResourceType, [sent, value]: Pair, reading: Reading): Criterion {
  const [path = '', chain] = sent.split('.', 2);
  const [name = '', ...modifiers] = path.split(':');
  const modifier = modifiers.length === 0 ? undefined : modifiers.join(':');
  const parameter = type.parameters.find((each) => each.name === name);
  if (parameter === undefined) throw unknownParameter(sent, type);
  if (chain !== undefined) return readChain(parameter, modifier, sent, value);
  if (modifier === 'missing') return readMissing(parameter, value);
  const values = splitAt(value, ',');
  if (parameter.kind === 'reference') return readReferences(parameter, modifier, values, reading);
  if (modifier === 'not' && parameter.home === 'shape') {
    return { parameter, by: 'token', not: true, values: values.map((each) => readToken(name, each)) };
  }
  if (modifier !== undefined) throw badModifier(parameter, modifier);
  switch (parameter.kind) {
    case 'token':
      return { parameter, by: 'token', not: false, values: values.map((each) => readToken(name, each)) };
    case 'date':
      return { parameter, by: 'date', values: values.map((each) => readDate(name, each, reading.zone)) };
    case 'string':
      return { parameter, by: 'string', values: values.map((each) => unescaped(each).toLowerCase()) };
    case 'uri':
      return { parameter, by: 'token', not: false, values: values.map(readUri) };
    case 'quantity':
      return { parameter, by: 'quantity', values: values.map((each) => readQuantity(name, each)) };
    case 'composite':
      return { parameter, by: 'coded-quantity', values: values.map((each) => readComposite(name, each)) };
    default:
      return parameter.kind satisfies never;
  }
}

/** Modifiers by parameter; a reference also takes its own types. */
export function modifiersOf({ kind, home, targets = [] }: SearchParameter): readonly string[] {
  if (home === 'id' || home === 'updated' || kind === 'composite') return [];
  if (kind === 'reference') return ['missing', 'identifier', ...targets];
  return home === 'shape' ? ['missing', 'not'] : ['missing'];
}

function badModifier(parameter: SearchParameter, modifier: string) {
  const known = modifiersOf(parameter);
  return notSupported(
    `${parameter.name}:${modifier.slice(0, 40)}`,
    'is no modifier here',
    known.length === 0 ? 'leave it out' : `use ${known.map((each) => `:${each}`).join(', ')}`,
  );
}

/** Patients and devices live elsewhere; of what they are, only the identifier in the reference is known here. */
function readChain(
  parameter: SearchParameter,
  modifier: string | undefined,
  sent: string,
  value: string,
): Criterion {
  const fits = modifier === undefined || (parameter.targets ?? []).includes(modifier);
  if (parameter.kind !== 'reference' || !fits || sent.split('.').slice(1).join('.') !== 'identifier') {
    const mend = 'chain only .identifier to a reference, such as patient.identifier';
    throw notSupported(sent.slice(0, 60), 'is a chain that cannot be followed', mend);
  }
  return identifiers(parameter, splitAt(value, ','));
}

const identifiers = (parameter: SearchParameter, values: readonly string[]): Criterion => ({
  parameter,
  by: 'identifier',
  values: values.map((each) => readToken(`${parameter.name}:identifier`, each)),
});

function readMissing(parameter: SearchParameter, value: string): Criterion {
  if (!modifiersOf(parameter).includes('missing')) throw badModifier(parameter, 'missing');
  if (value !== 'true' && value !== 'false')
    throw refused(`${parameter.name}:missing`, value, 'is neither', 'send true or false');
  return { parameter, by: 'missing', missing: value === 'true' };
}

function readReferences(
  parameter: SearchParameter,
  modifier: string | undefined,
  values: readonly string[],
  { base }: Reading,
): Criterion {
  if (modifier === 'identifier') return identifiers(parameter, values);
  if (modifier !== undefined && !(parameter.targets ?? []).includes(modifier))
    throw badModifier(parameter, modifier);
  return {
    parameter,
    by: 'reference',
    values: values.flatMap((each) => readReference(parameter, each, modifier, base)),
  };
}

function readComposite(name: string, text: string) {
  const [code, quantity, ...more] = splitAt(text, '$');
  if (code === undefined || quantity === undefined || more.length > 0)
    throw refused(name, text, 'is no pair', 'send code$value');
  return { code: readToken(name, code), quantity: readQuantity(name, quantity) };
}

function unknownParameter(name: string, type: ResourceType): UnknownParameter {
  const known = [
    ...type.parameters.map((each) => each.name),
    ...Object.keys(SHAPING),
    '_include',
    '_revinclude',
    '_format',
  ];
  return new UnknownParameter(
    `${name.slice(0, 60)} is no parameter of this search: leave it out; known are ${known.join(', ')}`,
  );
}
