/** What a target said, kept within bounds. */
import { z } from 'zod';
import type { Outcome, OutcomeIssue } from '../store/delivery-port.ts';

const MOST_ISSUES = 10;
const MOST_CHARACTERS = 500;
const MOST_TEXT = 2048;

const issueShape = z.object({
  severity: z.string(),
  code: z.string(),
  diagnostics: z.string().optional().catch(undefined),
  details: z.object({ text: z.string().optional() }).optional().catch(undefined),
  expression: z.array(z.string()).optional().catch(undefined),
  location: z.array(z.string()).optional().catch(undefined),
});
const outcomeShape = z.object({ issue: z.array(issueShape).min(1) });

/** @param body text, or the OperationOutcome of one entry of a batch, already parsed; null when none could be read */
export function outcomeOf(status: number, body: unknown): Outcome {
  const read = outcomeShape.safeParse(typeof body === 'string' ? parsed(body) : body);
  if (!read.success) {
    const text = typeof body === 'string' && body !== '' ? { text: body.slice(0, MOST_TEXT) } : {};
    return { why: `HTTP ${status}${body === null ? ', its body could not be read' : ''}`, status, ...text };
  }
  const issues = read.data.issue.slice(0, MOST_ISSUES).map(issueOf);
  const said = issues.flatMap(({ diagnostics }) => diagnostics ?? []).join('; ');
  return { why: `HTTP ${status}${said === '' ? '' : `: ${cut(said)}`}`, status, issues };
}

function issueOf({
  severity,
  code,
  diagnostics,
  details,
  expression,
  location,
}: z.infer<typeof issueShape>): OutcomeIssue {
  const said = diagnostics ?? details?.text;
  const places = expression ?? location;
  return {
    severity: cut(severity),
    code: cut(code),
    ...(said === undefined ? {} : { diagnostics: cut(said) }),
    ...(places === undefined ? {} : { expression: places.slice(0, MOST_ISSUES).map(cut) }),
  };
}

const cut = (text: string): string => text.slice(0, MOST_CHARACTERS);

export function parsed(text: string): unknown {
  try {
    return JSON.parse(text);
  } catch {
    return undefined;
  }
}
