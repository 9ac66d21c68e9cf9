import { randomUUID } from 'node:crypto';
import { refusal } from './refusal.ts';
import { factsOf, type ResourceFacts } from './resource-text.ts';
import { historyOf, matchesOf, type Store, type Version } from './store.ts';

/** The resource types that are taken; every other one is answered with 404. */
export const resourceTypes = [
  'BodyStructure',
  'Device',
  'DeviceMetric',
  'Encounter',
  'Location',
  'Observation',
  'Organization',
  'Patient',
  'Practitioner',
  'Procedure',
  'Provenance',
] as const;

/** What a write came to: 201 when it made a resource, otherwise 200. */
export interface Written {
  readonly status: 200 | 201;
  readonly version: Version;
}

/** Where writes go: the store to look into and the function that adds to it. */
export interface Target {
  readonly store: Store;
  readonly add: (version: Version) => void;
}

/** Answers 404 for a resource type the stand-in does not take. */
export function requireKnownType(type: string): void {
  if (resourceTypes.some((known) => known === type)) return;
  throw refusal(404, `Resource type "${type}" is not kept here; use one of ${resourceTypes.join(', ')}.`);
}

/** Reads a search token `system|value`, the only form of `identifier` that is understood here. */
export function identifierToken(token: string): string {
  // Escapes, lists and half tokens mean something in FHIR; reading them literally would find the wrong thing.
  if (/^[^|,\\]+\|[^|,\\]+$/.test(token)) return token;
  throw refusal(400, `identifier "${token}" is not understood; send one system|value without , or \\.`);
}

function tokenOfIfNoneExist(condition: string): string {
  const parameters = [...new URLSearchParams(condition)];
  const [first] = parameters;
  if (parameters.length !== 1 || first?.[0] !== 'identifier') {
    throw refusal(400, `If-None-Exist "${condition}" is not understood; send identifier=system|value.`);
  }
  return identifierToken(first[1]);
}

function factsOfType(text: string, type: string): ResourceFacts {
  requireKnownType(type);
  const facts = factsOf(text);
  if (facts.type === type) return facts;
  throw refusal(400, `resourceType "${facts.type}" was sent to ${type}; send it to ${facts.type}.`);
}

function requireMatch(ifMatch: string, current: Version | undefined): void {
  const wanted = /^(?:W\/)?"(\d+)"$/.exec(ifMatch)?.[1];
  if (wanted === undefined) {
    throw refusal(400, `If-Match ${ifMatch} is not understood; send W/"n" with the version last read.`);
  }
  if (Number(wanted) === current?.version) return;
  const stands = current === undefined ? 'nothing is stored' : `version ${current.version} is stored`;
  throw refusal(412, `If-Match ${ifMatch} does not hold: ${stands}; read the resource and decide again.`);
}

function requireNotOlder(sent: ResourceFacts, current: Version | undefined): void {
  const stored = current?.facts.senderVersion;
  if (sent.senderVersion === undefined || stored === undefined || sent.senderVersion >= stored) return;
  throw refusal(
    409,
    `meta.versionId "${sent.senderVersion}" of ${sent.type}/${sent.id} is older than "${stored}", ` +
      `which is stored; send "${stored}" or later.`,
  );
}

/**
 * Creates a resource under an id of the server's choice. The text is kept as sent, so the id is in the
 * Location header and not in the body.
 *
 * @param ifNoneExist create only if no resource matches, as `identifier=system|value`
 */
export function createResource(
  { store, add }: Target,
  type: string,
  text: string,
  ifNoneExist: string | undefined,
): Written {
  const facts = factsOfType(text, type);
  if (ifNoneExist !== undefined) {
    const matches = matchesOf(store, type, tokenOfIfNoneExist(ifNoneExist));
    const [match] = matches;
    if (matches.length > 1) {
      throw refusal(
        412,
        `${matches.length} ${type} match ${ifNoneExist}; use an identifier that only one has.`,
      );
    }
    if (match !== undefined) return { status: 200, version: match };
  }
  const id = randomUUID();
  const at = new Date().toISOString();
  const version: Version = { type, id, version: 1, method: 'POST', at, text, facts };
  add(version);
  return { status: 201, version };
}

/**
 * Puts a resource under an id of the sender's choice, making it if it is not there. The same text again
 * changes nothing and makes no version.
 *
 * @param ifMatch the version the sender believes to be current, as `W/"n"`
 */
export function updateResource(
  { store, add }: Target,
  type: string,
  id: string,
  text: string,
  ifMatch: string | undefined,
): Written {
  const facts = factsOfType(text, type);
  if (!/^[A-Za-z0-9\-.]{1,64}$/.test(id)) {
    throw refusal(400, `id "${id}" is no FHIR id; use 1 to 64 of A-Z, a-z, 0-9, - and dot.`);
  }
  if (facts.id !== id) {
    throw refusal(400, `id "${facts.id ?? ''}" in the body is not "${id}" in the address; make them equal.`);
  }
  const current = historyOf(store, type, id).at(-1);
  // Before If-Match, as RFC 9110 section 13.1.1 allows: a sender that lost the answer may ask again.
  if (current?.text === text) return { status: 200, version: current };
  if (ifMatch !== undefined) requireMatch(ifMatch, current);
  requireNotOlder(facts, current);
  const version = (current?.version ?? 0) + 1;
  const next: Version = { type, id, version, method: 'PUT', at: new Date().toISOString(), text, facts };
  add(next);
  return { status: version === 1 ? 201 : 200, version: next };
}
