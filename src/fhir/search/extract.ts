/** What the index keeps of a resource, found by the paths of its search parameters. */
import { EVER, type Range, type ReadDate } from './date-range.ts';
import type { ResourceType, SearchParameter } from './resource-type.ts';
import { ID, identifierOf, kindOf, unversioned, type Word, wordOf } from './word.ts';

export type Json = Readonly<Record<string, unknown>>;

/** What many resources have in common; as JSON it is the same text for all of them. */
export interface Shape {
  readonly type: string;
  /** By parameter: [system or null, code]. */
  readonly tokens: Readonly<Record<string, readonly Token[]>>;
  /** Words of the code, where it has no coding. */
  readonly text: string | null;
  /** Of a value: null where there is none. */
  readonly unit: Unit | null;
  /** Parameters kept as words or as the subject, that the resource has a value for. */
  readonly present: readonly string[];
}

export type Token = readonly [system: string | null, code: string];

export interface Unit {
  readonly system: string | null;
  readonly code: string | null;
  readonly unit: string | null;
  readonly comparator: string | null;
}

export interface Subject {
  readonly reference: string | null;
  readonly system: string | null;
  readonly value: string | null;
}

export interface Extract {
  readonly id: string;
  readonly version: string;
  readonly updatedMs: number;
  readonly shape: Shape;
  readonly subject: Subject | null;
  /** Null: it says no time. */
  readonly effective: Range | null;
  readonly value: number | null;
  /** The first is the id. */
  readonly words: readonly Word[];
}

/** What is looked at in a resource. */
export interface Looked {
  readonly id: unknown;
  readonly version: unknown;
  readonly updated: unknown;
  readonly code: unknown;
  /** What each parameter of the type looks at, in their order. */
  readonly values: readonly (readonly unknown[])[];
}

/** @throws {Error} when the resource has no id or meta: it was not written here */
export function extract(type: ResourceType, resource: Json, readDate: ReadDate): Extract {
  const meta = isJson(resource.meta) ? resource.meta : {};
  const looked: Looked = {
    id: resource.id,
    version: meta.versionId,
    updated: meta.lastUpdated,
    code: resource.code,
    values: type.parameters.map((parameter) => valuesAt(resource, parameter)),
  };
  return { ...ownOf(type, looked, readDate), shape: shapeOf(type, looked) };
}

/** What resources have in common that look so. */
export function shapeOf(
  { type, parameters }: ResourceType,
  { code, values }: Pick<Looked, 'code' | 'values'>,
): Shape {
  const tokens: Record<string, readonly Token[]> = {};
  const present: string[] = [];
  let unit: Unit | null = null;
  parameters.forEach((parameter, i) => {
    const { home, name } = parameter;
    const here = values[i] ?? [];
    if (home === 'shape') tokens[name] = tokensOf(parameter, here);
    if (home === 'value') unit ??= unitOf(here.find(isQuantity));
    if ((home === 'subject' || home === 'word') && isThere(parameter, here)) present.push(name);
  });
  return { type, tokens, text: textOf(code), unit, present };
}

/** All but the shape. @throws {Error} when there is no id or meta */
function ownOf(type: ResourceType, looked: Looked, readDate: ReadDate): Omit<Extract, 'shape'> {
  const { id, version, updatedMs } = nameOf(type, looked);
  const words: Word[] = [wordOf(ID, '', id)];
  let subject: Subject | null = null;
  let effective: Range | null = null;
  let quantity: Quantity | undefined;
  for (let i = 0; i < type.parameters.length; i += 1) {
    const parameter = type.parameters[i];
    const here = looked.values[i];
    if (parameter === undefined || here === undefined || here.length === 0) continue;
    if (parameter.home === 'effective') effective ??= rangeOf(here[0], readDate);
    else if (parameter.home === 'value') quantity ??= here.find(isQuantity);
    else if (parameter.home === 'subject') subject ??= subjectOf(here[0]);
    else if (parameter.home === 'word')
      for (const value of here) for (const word of wordsOf(parameter, value)) words.push(word);
  }
  return { id, version, updatedMs, subject, effective, value: quantity?.value ?? null, words };
}

type Name = Pick<Extract, 'id' | 'version' | 'updatedMs'>;

/** @throws {Error} when there is no id or meta */
export function nameOf(
  { type }: ResourceType,
  { id, version, updated }: Omit<Looked, 'code' | 'values'>,
): Name {
  const updatedMs = typeof updated === 'string' ? momentOf(updated) : Number.NaN;
  if (typeof id !== 'string' || typeof version !== 'string' || Number.isNaN(updatedMs))
    throw new Error(`a ${type} in the ledger lacks its id, versionId or lastUpdated`);
  return { id, version, updatedMs };
}

/** All that one entry issues says the same: it is read once. */
let latest = { text: '', ms: Number.NaN };

function momentOf(text: string): number {
  if (text !== latest.text) latest = { text, ms: Date.parse(text) };
  return latest.ms;
}

/** An element that only has words counts as there; `patient` is a subject that is a Patient. */
export function isThere({ name }: SearchParameter, values: readonly unknown[]): boolean {
  if (name !== 'patient') return values.length > 0;
  return values.map(subjectOf).some((each) => each !== null && isPatient(each));
}

/** A reference that names another type is none to a patient. */
export const isPatient = ({ reference }: Subject): boolean =>
  reference === null || /(^|\/)Patient\/[^/]+$/.test(reference);

/** Whether a resource is about a patient. */
export function isOfPatient({ parameters }: ResourceType, resource: Json): boolean {
  const patient = parameters.find(({ name }) => name === 'patient');
  return patient !== undefined && isThere(patient, valuesAt(resource, patient));
}

/** What a parameter looks at. Written as loops: this runs some twenty times for every resource that is indexed. */
export function valuesAt(resource: Json, parameter: SearchParameter): readonly unknown[] {
  const values: unknown[] = [];
  for (const steps of stepsOf(parameter)) collect(resource, steps, 0, values);
  return values;
}

export function collect(value: unknown, steps: readonly string[], at: number, into: unknown[]): void {
  if (Array.isArray(value)) {
    for (const each of value) collect(each, steps, at, into);
    return;
  }
  const step = steps[at];
  if (step === undefined) into.push(value);
  else if (isJson(value) && value[step] !== undefined) collect(value[step], steps, at + 1, into);
}

const knownSteps = new WeakMap<SearchParameter, readonly (readonly string[])[]>();

export function stepsOf(parameter: SearchParameter): readonly (readonly string[])[] {
  const known = knownSteps.get(parameter) ?? parameter.paths.map((path) => path.split('.'));
  knownSteps.set(parameter, known);
  return known;
}

export const isJson = (value: unknown): value is Json =>
  typeof value === 'object' && value !== null && !Array.isArray(value);

export function tokensOf({ system }: SearchParameter, values: readonly unknown[]): readonly Token[] {
  const tokens: Token[] = [];
  for (const value of values) {
    if (typeof value === 'string') tokens.push([system ?? null, value]);
    if (!isJson(value)) continue;
    for (const each of Array.isArray(value.coding) ? (value.coding as readonly Json[]) : [value]) {
      if (typeof each.code === 'string') tokens.push([textOrNull(each.system), each.code]);
    }
  }
  return tokens;
}

function textOf(code: unknown): string | null {
  return isJson(code) && code.coding === undefined ? textOrNull(code.text) : null;
}

export const textOrNull = (value: unknown): string | null => (typeof value === 'string' ? value : null);

export function wordsOf({ name, kind }: SearchParameter, value: unknown): readonly Word[] {
  if (kind === 'string' && typeof value === 'string')
    return [{ kind: kindOf(name, null, ''), stem: value.toLowerCase() }];
  if (!isJson(value)) return [];
  if (kind === 'token') return identifierWords(name, value);
  const reference = textOrNull(value.reference);
  const target = reference === null ? [] : [wordOf(name, '', unversioned(reference))];
  const named = isJson(value.identifier) ? identifierWords(identifierOf(name), value.identifier) : [];
  return [...target, ...named];
}

const identifierWords = (parameter: string, { system, value }: Json): readonly Word[] =>
  typeof value === 'string' ? [wordOf(parameter, textOrNull(system), value)] : [];

export function subjectOf(value: unknown): Subject | null {
  if (!isJson(value)) return null;
  const reference = textOrNull(value.reference);
  const identifier = isJson(value.identifier) ? value.identifier : {};
  const [system, number] = [textOrNull(identifier.system), textOrNull(identifier.value)];
  if (reference === null && number === null) return null;
  return { reference: reference === null ? null : unversioned(reference), system, value: number };
}

/** dateTime, instant, Period or Timing (from its first event to its last). */
export function rangeOf(value: unknown, readDate: ReadDate): Range | null {
  if (typeof value === 'string') return readDate(value) ?? null;
  if (!isJson(value)) return null;
  if (Array.isArray(value.event)) {
    const events = value.event.flatMap((each) => readDate(String(each)) ?? []);
    if (events.length === 0) return null;
    return { lo: Math.min(...events.map(({ lo }) => lo)), hi: Math.max(...events.map(({ hi }) => hi)) };
  }
  const start = typeof value.start === 'string' ? readDate(value.start) : undefined;
  const end = typeof value.end === 'string' ? readDate(value.end) : undefined;
  return start === undefined && end === undefined ? null : { lo: start?.lo ?? -EVER, hi: end?.hi ?? EVER };
}

export type Quantity = Json & { readonly value: number };

export const isQuantity = (value: unknown): value is Quantity =>
  isJson(value) && typeof value.value === 'number';

export function unitOf(quantity: Quantity | undefined): Unit | null {
  if (quantity === undefined) return null;
  const { system, code, unit, comparator } = quantity;
  return {
    system: textOrNull(system),
    code: textOrNull(code),
    unit: textOrNull(unit),
    comparator: textOrNull(comparator),
  };
}
