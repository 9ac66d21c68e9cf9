/** What the index keeps of a resource, found by the paths of its search parameters. */
import { EVER, type MomentOf, type Range, readRange } from './date-range.ts';
import type { ResourceType, SearchParameter } from './resource-type.ts';

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

/** `system` of a reference is ''; of an identifier without one, null. */
export interface Word {
  readonly parameter: string;
  readonly system: string | null;
  readonly value: string;
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
  readonly words: readonly Word[];
}

/** @throws {Error} when the resource has no id or meta: it was not written here */
export function extract(type: ResourceType, resource: Json, zone: MomentOf): Extract {
  const { id, meta } = resource as { id?: string; meta?: { versionId?: string; lastUpdated?: string } };
  const updatedMs = Date.parse(meta?.lastUpdated ?? '');
  if (id === undefined || meta?.versionId === undefined || Number.isNaN(updatedMs))
    throw new Error(`a ${type.type} in the ledger lacks its id, versionId or lastUpdated`);
  const tokens: Record<string, readonly Token[]> = {};
  const present: string[] = [];
  const words: Word[] = [];
  let subject: Subject | null = null;
  let effective: Range | null = null;
  let quantity: Quantity | undefined;
  for (const parameter of type.parameters) {
    const { home, name } = parameter;
    if (home === 'id' || home === 'updated') continue;
    const values = valuesAt(resource, parameter);
    if (home === 'shape') tokens[name] = tokensOf(parameter, values);
    if (home === 'effective') effective ??= rangeOf(values[0], zone);
    if (home === 'value') quantity ??= values.find(isQuantity);
    if (home === 'subject') subject ??= subjectOf(values[0]);
    if (home === 'word') for (const value of values) words.push(...wordsOf(parameter, value));
    if ((home === 'subject' || home === 'word') && isThere(parameter, values)) present.push(name);
  }
  const unit = quantity === undefined ? null : unitOf(quantity);
  return {
    id,
    version: meta.versionId,
    updatedMs,
    shape: { type: type.type, tokens, text: textOf(resource.code), unit, present },
    subject,
    effective,
    value: quantity?.value ?? null,
    words,
  };
}

/** An element that only has words counts as there; `patient` is a subject that is a Patient. */
function isThere({ name }: SearchParameter, values: readonly unknown[]): boolean {
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
function valuesAt(resource: Json, parameter: SearchParameter): readonly unknown[] {
  const values: unknown[] = [];
  for (const steps of stepsOf(parameter)) collect(resource, steps, 0, values);
  return values;
}

function collect(value: unknown, steps: readonly string[], at: number, into: unknown[]): void {
  if (Array.isArray(value)) {
    for (const each of value) collect(each, steps, at, into);
    return;
  }
  const step = steps[at];
  if (step === undefined) into.push(value);
  else if (isJson(value) && value[step] !== undefined) collect(value[step], steps, at + 1, into);
}

const knownSteps = new WeakMap<SearchParameter, readonly (readonly string[])[]>();

function stepsOf(parameter: SearchParameter): readonly (readonly string[])[] {
  const known = knownSteps.get(parameter) ?? parameter.paths.map((path) => path.split('.'));
  knownSteps.set(parameter, known);
  return known;
}

const isJson = (value: unknown): value is Json =>
  typeof value === 'object' && value !== null && !Array.isArray(value);

function tokensOf({ system }: SearchParameter, values: readonly unknown[]): readonly Token[] {
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

const textOrNull = (value: unknown): string | null => (typeof value === 'string' ? value : null);

function wordsOf({ name, kind }: SearchParameter, value: unknown): readonly Word[] {
  if (kind === 'string' && typeof value === 'string')
    return [{ parameter: name, system: null, value: value.toLowerCase() }];
  if (!isJson(value)) return [];
  if (kind === 'token') return identifierWord(name, value);
  const reference = textOrNull(value.reference);
  const target = reference === null ? [] : [{ parameter: name, system: '', value: unversioned(reference) }];
  const named = isJson(value.identifier) ? identifierWord(`${name}:identifier`, value.identifier) : [];
  return [...target, ...named];
}

const identifierWord = (parameter: string, { system, value }: Json): readonly Word[] =>
  typeof value === 'string' ? [{ parameter, system: textOrNull(system), value }] : [];

const unversioned = (reference: string): string => reference.replace(/\/_history\/[^/]+$/, '');

function subjectOf(value: unknown): Subject | null {
  if (!isJson(value)) return null;
  const reference = textOrNull(value.reference);
  const identifier = isJson(value.identifier) ? value.identifier : {};
  const [system, number] = [textOrNull(identifier.system), textOrNull(identifier.value)];
  if (reference === null && number === null) return null;
  return { reference: reference === null ? null : unversioned(reference), system, value: number };
}

/** dateTime, instant, Period or Timing (from its first event to its last). */
function rangeOf(value: unknown, zone: MomentOf): Range | null {
  if (typeof value === 'string') return readRange(value, zone) ?? null;
  if (!isJson(value)) return null;
  if (Array.isArray(value.event)) {
    const events = value.event.flatMap((each) => readRange(String(each), zone) ?? []);
    if (events.length === 0) return null;
    return { lo: Math.min(...events.map(({ lo }) => lo)), hi: Math.max(...events.map(({ hi }) => hi)) };
  }
  const start = typeof value.start === 'string' ? readRange(value.start, zone) : undefined;
  const end = typeof value.end === 'string' ? readRange(value.end, zone) : undefined;
  return start === undefined && end === undefined ? null : { lo: start?.lo ?? -EVER, hi: end?.hi ?? EVER };
}

type Quantity = Json & { readonly value: number };

const isQuantity = (value: unknown): value is Quantity => isJson(value) && typeof value.value === 'number';

const unitOf = ({ system, code, unit, comparator }: Json): Unit => ({
  system: textOrNull(system),
  code: textOrNull(code),
  unit: textOrNull(unit),
  comparator: textOrNull(comparator),
});
