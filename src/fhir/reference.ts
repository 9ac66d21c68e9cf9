/** How resources refer to each other, and to what others hold. */
import type { Reference } from '../domain/vocabulary/entry.ts';
import type { FactName, FactRef } from '../domain/vocabulary/fact.ts';

/** What all resources share that an entry issues about a drain. */
export interface IssueContext {
  readonly drain: string;
  /** JSON text of the reference to the patient; null while none is linked. */
  readonly patient: string | null;
  /** Time of the issue, RFC 3339 in UTC. */
  readonly issuedAt: string;
}

export const typeOfFact = (name: FactName): 'Device' | 'Observation' =>
  name === 'collection-unit' ? 'Device' : 'Observation';

/** The logical id of a fact: the same for every version, in every ledger that holds the entry. */
export function factId(drain: string, { name, anchor }: Pick<FactRef, 'name' | 'anchor'>): string {
  return `${name}.${drain}.${anchor}`;
}

/** What a logical id says; undefined where it is no id of ours. */
export function partsOfId(id: string): { name: string; drain: string; anchor: string } | undefined {
  const [name, drain, anchor, ...rest] = id.split('.');
  if (name === undefined || drain === undefined || anchor === undefined || rest.length > 0) return undefined;
  return { name, drain, anchor };
}

/** The drain that the id of a resource names; undefined where it is no such id, or names a device that is registered. */
export function drainOfId(id: string): string | undefined {
  const keeper = id.split('.')[1];
  return keeper === undefined ? undefined : drainThatIs(keeper);
}

/** What a resource is kept with, where it is a drain; undefined for a device that is registered. */
export const drainThatIs = (keeper: string): string | undefined =>
  keeper.startsWith('device-') ? undefined : keeper;

const OWN_REFERENCE = /"reference":"(?:Observation|Device|Provenance)\/([^"/]+)/g;

/** Drains whose resources an issued text refers to: what it says rests on them. */
export const drainsReferredTo = (text: string): readonly string[] =>
  [...text.matchAll(OWN_REFERENCE)].flatMap(([, id = '']) => drainOfId(id) ?? []);

/** By the object: one author stands in all facts of an entry, and is written once. */
const written = new WeakMap<Reference, string>();

/** JSON text of a reference as it was charted. */
export function referenceText(to: Reference): string {
  const text = written.get(to) ?? JSON.stringify({ reference: to.reference, identifier: to.identifier });
  written.set(to, text);
  return text;
}
