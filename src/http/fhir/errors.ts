/** Every error under the FHIR base is an OperationOutcome, those of the framework included. */
import type { FastifyError, FastifyInstance, FastifyReply } from 'fastify';
import type { OperationOutcome } from 'fhir/r4.js';
import { type IssueCode, operationOutcome } from '../../fhir/outcome.ts';

export const FHIR_JSON = 'application/fhir+json; charset=utf-8';

export function sendOutcome(reply: FastifyReply, status: number, outcome: OperationOutcome): FastifyReply {
  return reply.code(status).type(FHIR_JSON).send(JSON.stringify(outcome));
}

const CODE_OF: Readonly<Record<number, IssueCode>> = {
  400: 'structure',
  404: 'not-found',
  405: 'not-supported',
  413: 'too-long',
  415: 'not-supported',
  503: 'transient',
};

export function outcomeErrors(app: FastifyInstance): void {
  app.setNotFoundHandler((request, reply) => {
    const diagnostics = `${request.method} is not supported at this path; see metadata for what is`;
    return sendOutcome(reply, 404, operationOutcome('not-supported', diagnostics));
  });
  app.setErrorHandler((error: FastifyError, request, reply) => {
    const status = error.statusCode ?? 500;
    if (status >= 500)
      request.log.error({ code: error.code, name: error.name, stack: error.stack }, 'request failed');
    const diagnostics = status >= 500 ? 'the server failed; nothing was written' : error.message;
    return sendOutcome(
      reply,
      status,
      operationOutcome(CODE_OF[status] ?? (status < 500 ? 'invalid' : 'exception'), diagnostics),
    );
  });
}
