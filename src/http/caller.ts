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

export const callerOf = (request: FastifyRequest, principal: Principal): Caller => ({
  ...principal,
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
