import type { FastifyInstance, FastifyReply } from 'fastify';
import { type IssueCode, operationOutcome, outcomeOf } from '../../fhir/outcome.ts';
import { Refused } from '../../fhir/search/refused.ts';
import { faultText } from '../../intake/fault.ts';
import type { FhirFault } from '../../intake/fhir/fhir-fault.ts';
import type { Problem } from '../problem.ts';

export const FHIR_BASE = '/fhir';
export const FHIR_JSON = 'application/fhir+json; charset=utf-8';

const CODE_OF: Readonly<Record<number, IssueCode>> = {
  400: 'structure',
  401: 'login',
  403: 'forbidden',
  404: 'not-found',
  405: 'not-supported',
  406: 'not-supported',
  410: 'deleted',
  413: 'too-long',
  414: 'too-long',
  415: 'not-supported',
  429: 'throttled',
  431: 'too-long',
  503: 'transient',
};

/** A problem as a FHIR R4 OperationOutcome. */
export const sendOutcome = (reply: FastifyReply, problem: Problem): FastifyReply =>
  reply.code(problem.status).type(FHIR_JSON).send(outcomeText(problem));

export function outcomeText({ status, detail }: Problem): string {
  const code = CODE_OF[status] ?? (status < 500 ? 'invalid' : 'exception');
  return JSON.stringify(operationOutcome(code, detail));
}

/** What a handler refuses goes out as an OperationOutcome. */
export function answerRefusals(app: FastifyInstance): void {
  app.setErrorHandler((error, _request, reply) => {
    if (!(error instanceof Refused)) throw error;
    // Resources are made by us alone, so that what is not there can only be asked for.
    if (error.status === 405) reply.header('allow', 'GET, HEAD');
    return sendIssue(reply, error.status, error.code, error.message);
  });
}

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

export const sendFaults = (reply: FastifyReply, status: number, faults: readonly FhirFault[]): FastifyReply =>
  reply.code(status).type(FHIR_JSON).send(faultsText(faults));

/** An OperationOutcome that names the element, the value and the mend of each fault. */
function faultsText(faults: readonly FhirFault[]): string {
  const issues = faults.map((fault) => ({
    severity: 'error' as const,
    code: fault.code,
    diagnostics: faultText(fault),
    expression: [fault.pointer],
  }));
  return JSON.stringify(outcomeOf(issues));
}

export const issueText = (severity: 'information' | 'error', code: IssueCode, diagnostics: string): string =>
  JSON.stringify(outcomeOf([{ severity, code, diagnostics }]));
