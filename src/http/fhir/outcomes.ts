import type { FastifyReply } from 'fastify';
import { type IssueCode, operationOutcome } from '../../fhir/outcome.ts';
import type { Refused } from '../../fhir/search/refused.ts';
import type { Problem } from '../problem.ts';

export const FHIR_BASE = '/fhir';
export const FHIR_JSON = 'application/fhir+json; charset=utf-8';

const CODE_OF: Readonly<Record<number, IssueCode>> = {
  400: 'structure',
  404: 'not-found',
  405: 'not-supported',
  406: 'not-supported',
  413: 'too-long',
  414: 'too-long',
  415: 'not-supported',
  503: 'transient',
};

/** A problem as a FHIR R4 OperationOutcome. */
export function sendOutcome(reply: FastifyReply, { status, detail }: Problem): FastifyReply {
  const code = CODE_OF[status] ?? (status < 500 ? 'invalid' : 'exception');
  return sendIssue(reply, status, code, detail);
}

export const sendRefused = (reply: FastifyReply, { status, code, message }: Refused): FastifyReply =>
  sendIssue(reply, status, code, message);

export function sendIssue(
  reply: FastifyReply,
  status: number,
  code: IssueCode,
  diagnostics: string,
): FastifyReply {
  return reply
    .code(status)
    .type(FHIR_JSON)
    .send(JSON.stringify(operationOutcome(code, diagnostics)));
}
