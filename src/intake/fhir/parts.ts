/** The values of an Observation and of its components, each as the field of a native entry that it is. */
import { localSystem } from '../../fhir/fixed-parts.ts';
import {
  ALSO_KNOWN_AS,
  GROUPING,
  isDerived,
  RAW_CODES,
  type RawCode,
  VALUE_ALSO_KNOWN_AS,
} from '../../fhir/raw-codes.ts';
import { ExactNumber, type ExactValue } from '../../json/exact-json.ts';
import { shown } from '../fault.ts';
import type { FhirFault } from './fhir-fault.ts';
import type { Concept, Part } from './shape.ts';

/** A quantity that can be charted, or the grouping that carries several in its components. */
export interface Named {
  readonly name: string;
  /** Null for the grouping. */
  readonly row: RawCode | null;
}

type Found<T> = T | { readonly fault: FhirFault };

/** What a code means here; all its codings must mean the same. @param path of the code, in FHIRPath */
export function namedBy(concept: Concept, path: string, canonical: string): Found<Named> {
  const local = localSystem(canonical, 'observation');
  const codings = concept.coding.map(({ system = '', code = '' }) => ({ system, code }));
  const value = shown(codings.map(({ system, code }) => `${system}|${code}`).join(', '));
  if (codings.some(({ system, code }) => isDerived(system, code, local))) {
    const detail = 'means what this service works out by itself';
    return { fault: { code: 'business-rule', pointer: path, value, detail, mend: 'send what was read' } };
  }
  const names = new Set(codings.flatMap(({ system, code }) => nameOf(system, code, local) ?? []));
  const [name] = names;
  if (name === undefined || names.size > 1) {
    const detail = name === undefined ? 'means nothing that can be charted' : 'means several things';
    const mend = `send one code of ${local}: ${[GROUPING, ...Object.keys(RAW_CODES)].join(', ')}`;
    return { fault: { code: 'code-invalid', pointer: path, value, detail, mend } };
  }
  return { name, row: RAW_CODES[name] ?? null };
}

function nameOf(system: string, code: string, local: string): string | undefined {
  if (system !== local) return ALSO_KNOWN_AS[`${system}|${code}`];
  return code === GROUPING || Object.hasOwn(RAW_CODES, code) ? code : undefined;
}

const VALUES = [
  'valueQuantity',
  'valueCodeableConcept',
  'valueInteger',
  'valueString',
  'valueBoolean',
] as const;

interface Wanted {
  readonly element: (typeof VALUES)[number];
  readonly words: string;
}

const WANTED: Readonly<Record<RawCode['value'], Wanted>> = {
  quantity: { element: 'valueQuantity', words: 'a valueQuantity with its UCUM code' },
  code: { element: 'valueCodeableConcept', words: 'a valueCodeableConcept' },
  integer: { element: 'valueInteger', words: 'a valueInteger' },
  text: { element: 'valueString', words: 'a valueString' },
  boolean: { element: 'valueBoolean', words: 'a valueBoolean' },
};

/** The value of a part as a native entry has it, and where it stands. @param path of the part, in FHIRPath */
export function chartedValue(
  part: Part,
  { name, row }: Named,
  path: string,
  canonical: string,
): Found<{ readonly value: ExactValue | null; readonly path: string }> {
  const present = VALUES.filter((each) => part[each] !== undefined);
  const wanted = row === null ? null : wantedOf(row, part);
  const [element] = present;
  if (present.length !== (wanted === null ? 0 : 1) || (wanted !== null && element !== wanted.element)) {
    const mend = wanted === null ? 'send its parts as components' : `send ${wanted.words} and nothing else`;
    const value = present.length === 0 ? undefined : present.join(', ');
    const code = present.length === 0 ? 'required' : 'value';
    return { fault: { code, pointer: `${path}.value`, value, detail: `is not what ${name} has`, mend } };
  }
  const at = `${path}.value`;
  if (row === null) return { value: null, path: at };
  if (part.valueCodeableConcept !== undefined)
    return codedValue(name, row, part.valueCodeableConcept, at, canonical);
  const { valueQuantity: amount } = part;
  if (amount !== undefined) return { value: { value: amount.value, unit: amount.code }, path: at };
  return { value: part.valueInteger ?? part.valueString ?? part.valueBoolean ?? null, path: at };
}

/** A grade is issued as a code, and taken back as one. */
const wantedOf = (row: RawCode, part: Part): Wanted =>
  row.value === 'integer' && part.valueCodeableConcept !== undefined ? WANTED.code : WANTED[row.value];

function codedValue(
  name: string,
  row: RawCode,
  concept: Concept,
  path: string,
  canonical: string,
): Found<{ readonly value: ExactValue; readonly path: string }> {
  const local = localSystem(canonical, 'value');
  const codes = concept.coding.flatMap(({ system, code = '' }) =>
    system === local && code.startsWith(`${name}-`)
      ? code.slice(name.length + 1)
      : (VALUE_ALSO_KNOWN_AS[`${system}|${code}`] ?? []),
  );
  const known = codes.filter((code) =>
    row.value === 'code' ? row.codes.includes(code) : /^\d{1,3}$/.test(code),
  );
  const [code] = new Set(known);
  if (code === undefined || new Set(known).size > 1) {
    const mend =
      row.value === 'code'
        ? `send one code of ${local}: ${row.codes.map((each) => `${name}-${each}`).join(', ')}`
        : 'send a valueInteger';
    const value = shown(concept.coding.map((each) => each.code ?? '').join(', '));
    const detail = code === undefined ? 'has no value that is known here' : 'has several values';
    return { fault: { code: 'code-invalid', pointer: path, value, detail, mend } };
  }
  return { value: row.value === 'code' ? code : new ExactNumber(code), path };
}
