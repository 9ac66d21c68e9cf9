import { STATUS_CODES } from 'node:http';
import type { OperationOutcome, OperationOutcomeIssue } from 'fhir/r4.js';

/** An error that answers a request with an HTTP status of its own. */
interface Refusal extends Error {
  readonly statusCode: number;
}

const issueCodes: ReadonlyMap<number, OperationOutcomeIssue['code']> = new Map([
  [400, 'invalid'],
  [404, 'not-found'],
  [409, 'conflict'],
  [412, 'conflict'],
  [413, 'too-long'],
  [415, 'not-supported'],
  [422, 'not-supported'],
]);

/**
 * Makes the error to throw when a request cannot be granted.
 *
 * @param statusCode the HTTP status to answer with
 * @param diagnostics what was wrong, with which value, and what to send instead
 */
export function refusal(statusCode: number, diagnostics: string): Refusal {
  return Object.assign(new Error(diagnostics), { statusCode });
}

/** The HTTP status an error stands for: its own if it carries one, otherwise 500. */
export function statusOf(error: unknown): number {
  const status = error instanceof Error && 'statusCode' in error ? error.statusCode : undefined;
  return typeof status === 'number' ? status : 500;
}

/** Says an error as an OperationOutcome, the shape in which FHIR expects every refusal. */
export function outcomeOf(error: unknown): OperationOutcome {
  const code = issueCodes.get(statusOf(error)) ?? 'exception';
  const diagnostics = error instanceof Error ? error.message : String(error);
  return { resourceType: 'OperationOutcome', issue: [{ severity: 'error', code, diagnostics }] };
}

/** A status as a Bundle response writes it, such as `201 Created`. */
export function statusLine(status: number): string {
  return `${status} ${STATUS_CODES[status] ?? 'Unknown'}`;
}
