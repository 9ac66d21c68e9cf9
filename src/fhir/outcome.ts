import type { OperationOutcome, OperationOutcomeIssue } from 'fhir/r4.js';

/** FHIR R4 IssueType codes that this service answers with. */
export type IssueCode = Extract<
  OperationOutcomeIssue['code'],
  | 'structure'
  | 'invalid'
  | 'not-found'
  | 'not-supported'
  | 'too-long'
  | 'transient'
  | 'exception'
  | 'processing'
>;

export function operationOutcome(code: IssueCode, diagnostics: string): OperationOutcome {
  return { resourceType: 'OperationOutcome', issue: [{ severity: 'error', code, diagnostics }] };
}
