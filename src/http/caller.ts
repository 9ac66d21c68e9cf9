/** Who asks, and over which connection. */
import type { FastifyRequest } from 'fastify';
import type { Sender } from '../audit/chain.ts';
import type { Caller, Principal } from '../auth/principal.ts';

/** Ids that can be kept: any other says nothing to whoever looks for it. */
const REQUEST_ID = /^[\w.:+/=-]{1,128}$/;

export function requestIdOf({ headers }: FastifyRequest): string | null {
  const sent = headers['x-request-id'];
  return typeof sent === 'string' && REQUEST_ID.test(sent) ? sent : null;
}

/** Field by field: one is made for every request, and to spread it takes thirty times as long. */
export const callerOf = (request: FastifyRequest, principal: Principal): Caller => ({
  client: principal.client,
  subject: principal.subject,
  credential: principal.credential,
  scope: principal.scope,
  bounds: principal.bounds,
  address: request.ip,
  requestId: requestIdOf(request),
});

/** As the ledger keeps it. */
export const senderOf = ({ client, subject, credential, address, requestId }: Caller): Sender => ({
  client,
  subject,
  credential,
  address,
  request_id: requestId,
});
