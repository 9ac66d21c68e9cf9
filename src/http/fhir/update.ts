/**
 * An Observation in the place of one that was sent before: a correction of its entry, or its withdrawal. Nothing is
 * overwritten: what stood there stays in the ledger and in the history of the resource.
 */
import type { FastifyInstance, FastifyRequest } from 'fastify';
import { writeRequest } from '../../audit/entry-text.ts';
import { chainOf } from '../../domain/book/book.ts';
import type { Chain } from '../../domain/fold/chains.ts';
import type { Content, EntryBody } from '../../domain/vocabulary/entry.ts';
import type { Version } from '../../fhir/bundle.ts';
import { partsOfId } from '../../fhir/reference.ts';
import { Refused } from '../../fhir/search/refused.ts';
import type { ResourceType } from '../../fhir/search/resource-type.ts';
import { correctionBy, withdrawalBy } from '../../intake/change.ts';
import { type ReadObservation, readReplacement } from '../../intake/fhir/read-observation.ts';
import type { ExactValue } from '../../json/exact-json.ts';
import type { Incoming } from '../../record/incoming.ts';
import { senderOf } from '../caller.ts';
import type { Parts } from '../parts.ts';
import { INTERACTION_DOCS } from './docs.ts';
import { sendFaults } from './outcomes.ts';
import { isShownTo, permitted, refusalOf, refuseQuery, sendStored } from './stored.ts';
import { versionsFor } from './versions.ts';

interface OfId {
  Params: { id: string };
}

export function registerUpdate(app: FastifyInstance, parts: Parts, type: ResourceType): void {
  const config = { doc: INTERACTION_DOCS.update(type) };
  app.put<OfId>(`/${type.type}/:id`, { config }, async (request, reply) => {
    refuseQuery(request);
    const { id } = request.params;
    const newest = (): Version | undefined => versionsFor(parts, request.principal, type, id).at(-1);
    const before = newest() ?? refuseUnknown(id);
    const read = readUpdate(request, parts, before);
    if ('faults' in read) return sendFaults(reply, 422, read.faults);
    const incoming = permitted(request, parts, read.incoming);
    const [outcome] = await parts.record([incoming], senderOf(request.principal));
    if (outcome?.kind === 'conflict') throw outOfDate(before, baseVersion(request));
    const refusal = outcome === undefined ? null : refusalOf(outcome, request.principal, parts);
    // What stands in the way is then a newer state of the resource (FHIR R4 http.html#concurrency).
    if (refusal !== null)
      return sendFaults(reply, refusal.status === 409 ? 412 : refusal.status, refusal.faults);
    request.isRecorded = outcome?.kind === 'recorded';
    const stored = { isNew: false, id, version: newest() ?? before, marks: [], interim: false };
    // Sent again, what is newest may be another's.
    const isShown = isShownTo(request.principal, { ...stored, isNew: request.isRecorded });
    return sendStored(request, reply, stored, isShown, parts);
  });
}

/** The version that the sender knows, from If-Match; clients send tags with and without `W/`. */
export function baseVersion({ headers }: FastifyRequest): string {
  const tag = headers['if-match'];
  if (tag === undefined)
    throw new Refused(
      428,
      'business-rule',
      'If-Match is missing: send the ETag of the version that you have read, such as W/"1"',
    );
  const [, version] = /^(?:W\/)?"(\d{1,9})"$/.exec(tag.trim()) ?? [];
  if (version !== undefined) return version;
  throw new Refused(
    400,
    'invalid',
    `If-Match ${tag.slice(0, 60)} is no tag of a version: send it as in ETag, W/"1"`,
  );
}

/** @throws {Refused} 405: ids are made here (FHIR R4 http.html#update) */
export function refuseUnknown(id: string, type = 'Observation'): never {
  const words = `'${id.slice(0, 80)}' was never issued, and ids are made here: POST a new ${type}`;
  throw new Refused(405, 'not-supported', words);
}

/** @param base the version that the sender knows, from If-Match */
export const outOfDate = ({ version }: Pick<Version, 'version'>, base: string): Refused =>
  new Refused(
    412,
    'conflict',
    `If-Match names version ${base}, the current one is ${version}: read it again first`,
  );

function readUpdate(request: FastifyRequest, parts: Parts, before: Version) {
  const sent = request.body as ExactValue;
  const { id } = before;
  refuseOtherId(sent, id);
  const base = baseVersion(request);
  const { name = '', drain = '', anchor = '' } = partsOfId(id) ?? {};
  // Named by what it replaces: the same update sent again is the same entry.
  const key = { system: `${parts.canonical}/update`, value: `${id}/${base}` };
  const book = parts.store.books(drain).get(drain);
  const chain = book?.chains.get(anchor);
  if (book === undefined || chain?.first.body.received?.as !== name) throw notSentAs(id);
  const isAgain = chainOf(book, key) !== undefined;
  if (!isAgain && base !== before.version) throw outOfDate(before, base);
  const read = readReplacement(sent, key, parts);
  if ('faults' in read) return read;
  if (!read.isWithdrawn && read.issued !== name)
    throw new Refused(
      422,
      'business-rule',
      `Observation.code means ${read.issued}, not ${name}: withdraw the one and send the other anew`,
    );
  const body = changeOf(read, chain, new Date(parts.now()).toISOString());
  const incoming: Incoming = { drain, body, claims: read.claims, request: writeRequest(sent) };
  return { incoming };
}

/** @throws {Refused} 400 when the resource is not the one of the URL (FHIR R4 http.html#update) */
export function refuseOtherId(sent: ExactValue, id: string, type = 'Observation'): void {
  const own = typeof sent === 'object' && sent !== null && 'id' in sent ? sent.id : undefined;
  if (own === id) return;
  throw new Refused(
    400,
    'value',
    `${type}.id ${String(own).slice(0, 80)} is not the id of the URL: send ${id}`,
  );
}

const notSentAs = (id: string): Refused =>
  new Refused(
    422,
    'business-rule',
    `Observation ${id} was not sent as an Observation: correct or withdraw its entry at /v1/drains/{drain}/entries`,
  );

const NO_REASON = 'updated as an Observation; FHIR has no place for a reason, and none was given';

function changeOf({ body, isWithdrawn }: ReadObservation, { end }: Chain, now: string): EntryBody {
  const { identifier, author, received, as_sent, ...rest } = body;
  const change = {
    identifier,
    author,
    effective_at: now,
    ...(received === undefined ? {} : { received }),
    target: end.body.identifier,
    reason: NO_REASON,
  };
  return isWithdrawn ? withdrawalBy(change) : correctionBy(change, rest as Content, as_sent);
}
