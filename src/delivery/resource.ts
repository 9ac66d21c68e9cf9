/** Issued texts as something to send: named, and changed only where a target needs it, so that digits stay. */
import { z } from 'zod';
import type { Identifier } from '../domain/vocabulary/entry.ts';
import { FACT_CODES } from '../fhir/codes.ts';
import { codingText } from '../fhir/search/escape.ts';
import { type Framed, fill } from '../json/frame.ts';
import { parsed } from './outcome.ts';
import { type Head, headOf, META, OPENING, REFERENCE } from './outline.ts';

/** An issued text, or what it is made of. */
export type Written = string | Framed;

export interface Resource<Text extends Written = Written> extends Head {
  /** Type and id as we issued it. */
  readonly name: string;
  readonly text: Text;
}

/** @throws {Error} when it was not written here */
export function resourceOf<Text extends Written>(text: Text): Resource<Text> {
  const { type, id, version, hasSubject, references, versions } = headOf(text);
  return { name: `${type}/${id}`, type, id, version, hasSubject, references, versions, text };
}

export const textOf = (written: Written): string => (typeof written === 'string' ? written : fill(written));

const identified = z.object({
  identifier: z.array(z.object({ system: z.string(), value: z.string() })).min(1),
});

/** The first identifier of a resource; null where it has none with system and value. */
export function identifierOf(resource: unknown): Identifier | null {
  return identifiersOf(resource)[0] ?? null;
}

export function identifiersOf(resource: unknown): readonly Identifier[] {
  const read = identified.safeParse(typeof resource === 'string' ? parsed(resource) : resource);
  return read.success ? read.data.identifier : [];
}

/** A search for exactly this identifier, as it stands in a URL, a header or a form. */
export const queryFor = ({ system, value }: Identifier): string =>
  `identifier=${encodeURIComponent(codingText(system, value))}`;

/**
 * Points references at what the target calls a resource. One to a fact that the target does not have goes by its
 * identifier: an id that is not there would have the whole resource refused.
 * @param valueAt what to refer to at the target, given our name and version, if any; null where it does not have it
 */
export function withReferences<Text extends Written>(
  { text, references, versions }: Resource<Text>,
  valueAt: (name: string, version: string | undefined) => string | null,
  systems: { readonly fact: string; readonly unit: string },
): Text | string {
  const stays = (name: string, i: number): boolean =>
    valueAt(name, versions[i]) === written(name, versions[i]);
  if (references.every(stays)) return text;
  return textOf(text).replaceAll(REFERENCE, (whole, name: string, version: string | undefined) => {
    const there = valueAt(name, version);
    if (there !== null) return `"reference":"${there}"`;
    const [type = '', id = ''] = name.split('/');
    const system = isFact(id) ? systems.fact : isUnit(id) ? systems.unit : null;
    if (system === null) return whole;
    return `"type":"${type}","identifier":${JSON.stringify({ system, value: id })}`;
  });
}

const written = (name: string, version: string | undefined): string =>
  version === undefined ? name : `${name}/_history/${version}`;

const isUnit = (id: string): boolean => id.startsWith('collection-unit.') || isPart(id);

/** What stands between a unit and what was read off it goes with the first that refers to it, and never changes. */
export const isPart = (id: string): boolean => /^(?:virtual|channel|metric-[a-z-]+)\./.test(id);

/** Facts are called by their names: fact, drain, entry. */
export const isFact = (id: string): boolean => Object.hasOwn(FACT_CODES, id.slice(0, id.indexOf('.')));

/** Under an id of the target's choice, or none; version and time of the last update are the target's to say. */
export function withRemoteId({ type, text }: Resource<string>, id: string | null): string {
  const [opening = ''] = OPENING.exec(text) ?? [];
  const rest = text.slice(opening.length);
  const [meta = '', , comma] = META.exec(rest) ?? [];
  const start = `{"resourceType":"${type}"${id === null ? '' : `,"id":"${id}"`}`;
  if (meta === '') return start + rest;
  if (comma === ',') return `${start},"meta":{${rest.slice(meta.length)}`;
  return start + rest.slice(meta.length + 1);
}
