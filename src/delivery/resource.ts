/** Issued texts as something to send: named, and changed only where a target needs it, so that digits stay. */
import { z } from 'zod';
import type { Identifier } from '../domain/vocabulary/entry.ts';
import { FACT_CODES } from '../fhir/codes.ts';
import { codingText } from '../fhir/search/escape.ts';
import { parsed } from './outcome.ts';

export interface Resource {
  /** Type and id as we issued it. */
  readonly name: string;
  readonly type: string;
  readonly id: string;
  readonly version: number;
  readonly text: string;
  /** Names of the resources that it refers to. */
  readonly references: readonly string[];
}

const OPENING = /^\{"resourceType":"([A-Za-z]+)","id":"([A-Za-z0-9\-.]{1,64})"/;
const META = /^,"meta":\{"versionId":"(\d+)","lastUpdated":"[^"]*"(,?)/;
/** Our ids have parts with dots between; without them it is the target's own Patient, or whoever charted. */
const REFERENCE = /"reference":"([A-Za-z]+\/[A-Za-z0-9-]+\.[A-Za-z0-9\-.]+)(?:\/_history\/(\d+))?"/g;

/** @throws {Error} when the text was not written here */
export function resourceOf(text: string): Resource {
  const { opening, type, id } = openingOf(text);
  const version = Number(META.exec(text.slice(opening.length))?.[1] ?? 1);
  return { name: `${type}/${id}`, type, id, version, text, references: referencesIn(text) };
}

/** Type and id of an issued text. @throws {Error} when it was not written here */
export function nameIn(text: string): string {
  const { type, id } = openingOf(text);
  return `${type}/${id}`;
}

function openingOf(text: string) {
  const [opening, type, id] = OPENING.exec(text) ?? [];
  if (opening === undefined || type === undefined || id === undefined)
    throw new Error('an issued text does not start with its type and id');
  return { opening, type, id };
}

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

function referencesIn(text: string): string[] {
  const found: string[] = [];
  for (const [, name] of text.matchAll(REFERENCE)) if (name !== undefined) found.push(name);
  return found;
}

/**
 * Points references at what the target calls a resource. One to a fact that the target does not have goes by its
 * identifier: an id that is not there would have the whole resource refused.
 * @param valueAt what to refer to at the target, given our name and version, if any; null where it does not have it
 */
export function withReferences(
  { text, references }: Resource,
  valueAt: (name: string, version: string | undefined) => string | null,
  systems: { readonly fact: string; readonly unit: string },
): string {
  if (references.length === 0) return text;
  return text.replaceAll(REFERENCE, (whole, name: string, version: string | undefined) => {
    const there = valueAt(name, version);
    if (there !== null) return `"reference":"${there}"`;
    const [type = '', id = ''] = name.split('/');
    const system = isFact(id) ? systems.fact : isUnit(id) ? systems.unit : null;
    if (system === null) return whole;
    return `"type":"${type}","identifier":${JSON.stringify({ system, value: id })}`;
  });
}

const isUnit = (id: string): boolean => id.startsWith('collection-unit.') || isPart(id);

/** What stands between a unit and what was read off it goes with the first that refers to it, and never changes. */
export const isPart = (id: string): boolean => /^(?:virtual|channel|metric-[a-z-]+)\./.test(id);

/** Facts are called by their names: fact, drain, entry. */
export const isFact = (id: string): boolean => Object.hasOwn(FACT_CODES, id.slice(0, id.indexOf('.')));

/** Under an id of the target's choice, or none; version and time of the last update are the target's to say. */
export function withRemoteId({ type, text }: Resource, id: string | null): string {
  const [opening = ''] = OPENING.exec(text) ?? [];
  const rest = text.slice(opening.length);
  const [meta = '', , comma] = META.exec(rest) ?? [];
  const start = `{"resourceType":"${type}"${id === null ? '' : `,"id":"${id}"`}`;
  if (meta === '') return start + rest;
  if (comma === ',') return `${start},"meta":{${rest.slice(meta.length)}`;
  return start + rest.slice(meta.length + 1);
}
