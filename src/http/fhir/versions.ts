/** Issued resources, as the very texts that were issued: read, version read, history of one. */
import type { FastifyReply, FastifyRequest } from 'fastify';
import { isBound, type Principal } from '../../auth/principal.ts';
import { isSamePatient } from '../../domain/fold/drain.ts';
import type { Reference } from '../../domain/vocabulary/entry.ts';
import { historyBundle, type Version, versionOf } from '../../fhir/bundle.ts';
import { drainsReferredTo, factId, partsOfId } from '../../fhir/reference.ts';
import type { MomentOf } from '../../fhir/search/date-range.ts';
import { type Json, valuesAt } from '../../fhir/search/extract.ts';
import type { Pair, View } from '../../fhir/search/query.ts';
import { readHistoryWindow } from '../../fhir/search/read-history.ts';
import { readElements, readSummary } from '../../fhir/search/read-query.ts';
import { notSupported, Refused, refused } from '../../fhir/search/refused.ts';
import type { ResourceType } from '../../fhir/search/resource-type.ts';
import { isWhole, subset } from '../../fhir/subset.ts';
import { reachesAll } from '../allowed.ts';
import { isNamed } from '../etag.ts';
import type { Parts } from '../parts.ts';
import { handlingOf, pairsOf } from './asked.ts';
import { FHIR_BASE } from './outcomes.ts';

/** In order; empty when it was never issued. Ids name the fact, the drain and the entry it hangs on. */
export function versionsOf({ store }: Parts, { type }: ResourceType, id: string): readonly Version[] {
  const parts = partsOfId(id);
  if (parts === undefined) return [];
  const { name, drain, anchor } = parts;
  return store.versions(type, drain, `${name}.${anchor}`, id).map(versionOf);
}

/**
 * The same for whoever asks. A client that is confined is told nothing of what was issued while the drain was taken for
 * somebody else's; where that is the newest, there is nothing that still stands.
 * @throws {Refused} 403 where what stands rests on drains beyond what it is confined to
 */
export function versionsFor(
  parts: Parts,
  principal: Principal,
  type: ResourceType,
  id: string,
): readonly Version[] {
  const versions = versionsOf(parts, type, id);
  if (!isBound(principal)) return versions;
  const patient = parts.store.patientOf(partsOfId(id)?.drain ?? '');
  const theirs = versions.filter((version) => namesNoOther(version, type, patient));
  const newest = theirs.at(-1);
  if (newest === undefined || newest !== versions.at(-1)) return [];
  const isTold = ({ text }: Version): boolean => reachesAll(principal, drainsReferredTo(text), parts.store);
  if (isTold(newest)) return theirs.filter(isTold);
  throw new Refused(
    403,
    'forbidden',
    'The client is confined to a drain or patient, and this rests on drains beyond',
  );
}

/** Whether a version is about nobody but the patient whom the drain is linked to now. */
function namesNoOther({ text }: Version, { parameters }: ResourceType, patient: Reference | null): boolean {
  const ofPatient = parameters.filter(({ name }) => name === 'patient');
  const resource = JSON.parse(text) as Json;
  const named = ofPatient.flatMap((each) => valuesAt(resource, each)) as readonly Reference[];
  return named.every((each) => isSamePatient(each, patient ?? undefined));
}

/** @throws {Refused} 404 where there is none */
export function sendVersion(
  request: FastifyRequest,
  reply: FastifyReply,
  type: ResourceType,
  id: string,
  version: Version | undefined,
): FastifyReply {
  const view = readView(pairsOf(request), handlingOf(request) === 'lenient');
  if (version === undefined) throw neverIssued(type, id);
  const modified = new Date(version.lastUpdated);
  reply.header('etag', `W/"${version.version}"`).header('last-modified', modified.toUTCString());
  if (isWhole(view) && isKnown(request, version.version, modified))
    return reply.code(304).removeHeader('content-type').send();
  return reply.send(subset(version.text, type, view));
}

export const noSuchVersion = ({ type, id, version: newest }: Version, asked: string): Refused =>
  new Refused(
    404,
    'not-found',
    `${type}/${id} has no version '${asked.slice(0, 20).toWellFormed()}': the newest is ${newest}, see _history for the others`,
  );

function neverIssued({ type }: ResourceType, id: string): Refused {
  const example = factId('drain', { name: 'net-drainage', anchor: 'entry' });
  return new Refused(404, 'not-found', `No ${type} or version '${id}' was issued; ids look like ${example}`);
}

/** RFC 9110 13.2.2: If-None-Match goes before If-Modified-Since. Clients send tags with and without `W/`. */
export function isKnown({ headers }: FastifyRequest, tag: string, modified: Date | null): boolean {
  const tags = headers['if-none-match'];
  if (tags !== undefined) return isNamed(tags, `"${tag}"`);
  const since = Date.parse(headers['if-modified-since'] ?? '');
  // The header has whole seconds.
  return modified !== null && !Number.isNaN(since) && Math.floor(modified.getTime() / 1000) * 1000 <= since;
}

/** How a read is to be shown. @throws {Refused} */
export function readView(pairs: readonly Pair[], lenient: boolean): View {
  const known = ['_format', '_summary', '_elements'];
  const unknown = pairs.find(([name]) => !known.includes(name));
  if (unknown !== undefined && !lenient)
    throw notSupported(unknown[0].slice(0, 60), 'is no parameter of a read', `send only ${known.join(', ')}`);
  const valueFor = (wanted: string) => pairs.find(([name]) => name === wanted)?.[1];
  const [summary, elements] = [valueFor('_summary'), valueFor('_elements')];
  if (summary !== undefined && elements !== undefined)
    throw refused('_elements', elements, 'stands beside _summary', 'send one of them');
  return {
    summary: summary === undefined ? 'false' : readSummary(summary),
    elements: elements === undefined ? null : readElements(elements),
  };
}

/** One page of the history of one resource; further pages go on below a version. @throws {Refused} */
export function instanceHistory(
  parts: Parts,
  request: FastifyRequest,
  type: ResourceType,
  id: string,
  zone: MomentOf,
): string {
  const asked = pairsOf(request);
  const pairs = asked.filter(([name]) => name !== '_format' && name !== '_page');
  const window = readHistoryWindow(pairs, zone);
  const versions = versionsFor(parts, request.principal, type, id);
  if (versions.length === 0) throw neverIssued(type, id);
  const fitting = versions.filter((each, n) => fits(each, versions[n + 1], window)).toReversed();
  const below = readPage(asked);
  const left = fitting.filter(({ version }) => Number(version) < below);
  const shown = left.slice(0, window.count);
  const base = `${parts.publicUrl()}${FHIR_BASE}`;
  const link = (more: readonly Pair[]): string => {
    const query = new URLSearchParams(
      [...pairs, ...more].map(([name, value]): [string, string] => [name, value]),
    );
    return `${base}/${type.type}/${id}/_history${query.size === 0 ? '' : `?${query}`}`;
  };
  const next = left.length > shown.length ? link([['_page', shown.at(-1)?.version ?? '']]) : null;
  const self = link(asked.filter(([name]) => name === '_page'));
  return historyBundle(base, shown, { self, next }, fitting.length);
}

function fits(
  { lastUpdated }: Version,
  newer: Version | undefined,
  { since, at }: ReturnType<typeof readHistoryWindow>,
): boolean {
  const from = Date.parse(lastUpdated);
  const to = newer === undefined ? Infinity : Date.parse(newer.lastUpdated);
  return (since === null || from >= since) && (at === null || (from < at.hi && to > at.lo));
}

function readPage(asked: readonly Pair[]): number {
  const page = asked.find(([name]) => name === '_page')?.[1];
  if (page === undefined) return Infinity;
  if (!/^[1-9]\d{0,8}$/.test(page))
    throw refused('_page', page, 'is no link that was given here', 'use links as they were given');
  return Number(page);
}
