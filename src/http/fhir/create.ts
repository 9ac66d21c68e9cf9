/** What was read at the bedside, in as an Observation: the same entry, by the same checks, as from any other door. */
import type { FastifyInstance } from 'fastify';
import { writeRequest } from '../../audit/entry-text.ts';
import type { Identifier } from '../../domain/vocabulary/entry.ts';
import { splitAt, unescaped } from '../../fhir/search/escape.ts';
import { Refused } from '../../fhir/search/refused.ts';
import type { ResourceType } from '../../fhir/search/resource-type.ts';
import { type Faulty, readObservation } from '../../intake/fhir/read-observation.ts';
import type { ExactValue } from '../../json/exact-json.ts';
import type { Incoming } from '../../record/incoming.ts';
import { drainNameOf } from '../../record/record.ts';
import { senderOf } from '../caller.ts';
import type { Parts } from '../parts.ts';
import { INTERACTION_DOCS } from './docs.ts';
import { sendFaults } from './outcomes.ts';
import { ISSUING, isShownTo, permitted, refusalOf, refuseQuery, sendStored, storedBy } from './stored.ts';

export function registerCreate(app: FastifyInstance, parts: Parts, type: ResourceType): void {
  app.post(`/${type.type}`, { config: { doc: INTERACTION_DOCS.create(type) } }, async (request, reply) => {
    refuseQuery(request);
    const read = readSent(request.body as ExactValue, request.headers['if-none-exist'], parts);
    if ('faults' in read) return sendFaults(reply, 422, read.faults);
    const incoming = permitted(request, parts, read.incoming);
    const [outcome] = await parts.record([incoming], senderOf(request.principal));
    if (outcome === undefined) throw new Error('a unit of one entry had no outcome');
    const refusal = refusalOf(outcome, request.principal, parts);
    if (refusal !== null) return sendFaults(reply, refusal.status, refusal.faults);
    const stored = storedBy(outcome, parts, type);
    return sendStored(request, reply, stored, isShownTo(request.principal, stored), parts);
  });
}

export interface Sent {
  readonly incoming: Incoming;
}

/** @throws {Refused} when If-None-Exist asks for what is not looked up here */
export function readSent(
  resource: ExactValue,
  ifNoneExist: string | readonly string[] | undefined,
  { canonical, profiles }: Parts,
): Sent | Faulty {
  const read = readObservation(resource, { canonical, profiles });
  if ('faults' in read) return read;
  const { body, claims } = read;
  const incoming = {
    drain: read.drain === null ? null : drainOf(read.drain, canonical),
    body,
    claims,
    request: writeRequest(resource),
    ...(isUnlessKnown(ifNoneExist, 'Observation', body.identifier) ? { unlessKnown: ISSUING } : {}),
  };
  return { incoming };
}

/** By the identifier that the drain was placed under, or by its id here. */
export const drainOf = (drain: Identifier, canonical: string): string =>
  drain.system === `${canonical}/drain` ? drain.value : drainNameOf(drain);

/**
 * Whether what already stands under the identifier will do. Only the resource's own identifier can be asked for: it is what the ledger holds once, whoever else is writing.
 * @throws {Refused} for any other criterion, which ignored would match everything
 */
export function isUnlessKnown(
  ifNoneExist: string | readonly string[] | undefined,
  type: string,
  { system, value }: Identifier,
): boolean {
  if (ifNoneExist === undefined) return false;
  const criteria = [ifNoneExist].flat().join('&');
  const query = criteria.startsWith(type) ? criteria.slice(type.length) : criteria;
  const asked = [...new URLSearchParams(query.replace(/^\?/, ''))];
  const [[name, token = ''] = []] = asked;
  const parts = splitAt(token, '|').map(unescaped);
  if (asked.length === 1 && name === 'identifier' && parts.length === 2) {
    if (parts[0] === system && parts[1] === value) return true;
  }
  throw new Refused(
    412,
    'not-supported',
    `If-None-Exist ${criteria.slice(0, 120).toWellFormed()} cannot be decided here: send identifier=system|value with the first identifier of the resource itself`,
  );
}
