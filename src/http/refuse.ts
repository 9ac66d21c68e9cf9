/** Errors go out in the form of the API that was asked: an OperationOutcome under the FHIR base, else a problem. */
import type { FastifyReply, FastifyRequest } from 'fastify';
import { FHIR_BASE, FHIR_JSON, outcomeText, sendOutcome } from './fhir/outcomes.ts';
import { PROBLEM_JSON, type Problem } from './problem.ts';

export function refuse(request: FastifyRequest, reply: FastifyReply, problem: Problem): FastifyReply {
  return isFhir(pathOf(request)) ? sendOutcome(reply, problem) : sendProblem(reply, problem);
}

/** The same for a hook that puts it in the place of an answer. */
export const refusalText = (request: FastifyRequest, problem: Problem) =>
  isFhir(pathOf(request))
    ? { type: FHIR_JSON, text: outcomeText(problem) }
    : { type: PROBLEM_JSON, text: JSON.stringify(problem) };

/** Without the tag of what was asked for: sent back, it would say that the client holds that answer. */
export function sendProblem(reply: FastifyReply, problem: Problem): FastifyReply {
  return reply.removeHeader('etag').code(problem.status).type(PROBLEM_JSON).send(JSON.stringify(problem));
}

export function pathOf({ url }: FastifyRequest): string {
  const end = url.search(/[?#]/);
  return end < 0 ? url : url.slice(0, end);
}

const isFhir = (path: string): boolean => path === FHIR_BASE || path.startsWith(`${FHIR_BASE}/`);
