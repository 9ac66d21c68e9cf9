import type { OperationOutcome, OperationOutcomeIssue } from 'fhir/r4.js';

/** FHIR R4 IssueType codes that this service answers with. */
export type IssueCode = Extract<
  OperationOutcomeIssue['code'],
  | 'structure'
  | 'required'
  | 'value'
  | 'code-invalid'
  | 'business-rule'
  | 'conflict'
  | 'deleted'
  | 'forbidden'
  | 'login'
  | 'informational'
  | 'too-costly'
  | 'invalid'
  | 'not-found'
  | 'not-supported'
  | 'too-long'
  | 'throttled'
  | 'transient'
  | 'throttled'
  | 'exception'
  | 'processing'
>;

export const outcomeOf = (issue: OperationOutcomeIssue[]): OperationOutcome => ({
  resourceType: 'OperationOutcome',
  issue,
});

export const operationOutcome = (code: IssueCode, diagnostics: string): OperationOutcome =>
  outcomeOf([{ severity: 'error', code, diagnostics }]);

/** What was left out of an answer that is good otherwise; null when nothing was. */
export function leftOut(diagnostics: readonly string[]): OperationOutcome | null {
  if (diagnostics.length === 0) return null;
  const issue = diagnostics.map((each) => ({
    severity: 'warning' as const,
    code: 'not-supported' as const,
    diagnostics: each,
  }));
  return outcomeOf(issue);
}
