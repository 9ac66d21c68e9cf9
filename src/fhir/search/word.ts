/**
 * What the ids, identifiers and references of a resource say, each cut after its first dot: what one entry issues differs
 * before it, and is the same after it.
 */

/** What words of many resources have in common. */
export interface WordKind {
  readonly parameter: string;
  /** Of an id or a reference ''; of an identifier without one null. */
  readonly system: string | null;
  /** What it says up to its first dot, and the dot; '' where it has none, or is asked for by how it begins. */
  readonly head: string;
}

export interface Word {
  readonly kind: WordKind;
  /** The rest. */
  readonly stem: string;
}

/** Under this name ids are kept; no search parameter that is kept as words has it. */
export const ID = '_id';

/** Under this name the identifiers are kept that a reference names. */
export const identifierOf = (parameter: string): string => `${parameter}:identifier`;

export function split(text: string): readonly [head: string, stem: string] {
  const rest = text.indexOf('.') + 1;
  return [text.slice(0, rest), text.slice(rest)];
}

export function wordOf(parameter: string, system: string | null, text: string): Word {
  const [head, stem] = split(text);
  return { kind: kindOf(parameter, system, head), stem };
}

/** Beyond so many, senders' own keys have a part of their own before a dot, and all are forgotten. */
const MOST_KINDS = 20_000;
const kinds = new Map<string, Map<string | null, Map<string, WordKind>>>();
let known = 0;

/** One object for equal ones, so that what is known of a kind is found without spelling it. */
export function kindOf(parameter: string, system: string | null, head: string): WordKind {
  const found = kinds.get(parameter)?.get(system)?.get(head);
  if (found !== undefined) return found;
  if (known >= MOST_KINDS) {
    kinds.clear();
    known = 0;
  }
  const kind = { parameter, system, head };
  const ofParameter = kinds.get(parameter) ?? new Map<string | null, Map<string, WordKind>>();
  const ofSystem = ofParameter.get(system) ?? new Map<string, WordKind>();
  kinds.set(parameter, ofParameter.set(system, ofSystem.set(head, kind)));
  known += 1;
  return kind;
}

/** Stands in a reference before the version that it names. */
export const VERSIONED = '/_history/';

export const unversioned = (reference: string): string =>
  reference.includes(VERSIONED) ? reference.replace(/\/_history\/[^/]+$/, '') : reference;
