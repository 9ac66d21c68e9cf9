/** What an answer of a target, or its absence, means for what was sent. */
import type { Outcome } from '../store/delivery-port.ts';
import { retryAfterMs } from './backoff.ts';
import { type HttpAnswer, NotSent } from './http.ts';
import { outcomeOf } from './outcome.ts';

export type Verdict =
  | { readonly kind: 'taken' }
  /** Queued at the target for review: not yet to be seen there. */
  | { readonly kind: 'accepted' }
  | { readonly kind: Judged; readonly outcome: Outcome }
  /** Nothing was stored; try again later. */
  | { readonly kind: 'later'; readonly outcome: Outcome; readonly afterMs: number | undefined }
  /** It may have been stored, or may still be: wait out the time in which the target could act on it. */
  | { readonly kind: 'unknown'; readonly outcome: Outcome };

/** It waits for something other than the target's working. */
export interface Held {
  readonly kind: 'held';
  readonly outcome: Outcome;
}

type Judged =
  /** The target will never take this as it is. */
  | 'refused'
  /** Another version stands there than was thought. */
  | 'conflict'
  /** What was to be changed is not there. */
  | 'gone'
  /** The target says that it has it already. */
  | 'duplicate'
  /** More than one resource has the identifier. */
  | 'multiple-matches'
  /** The token does not hold. */
  | 'unauthorized'
  /** Scope or policy: it concerns all that goes to this target. */
  | 'forbidden';

export type Purpose = 'create' | 'update' | 'bundle' | 'read';

const TRANSIENT_CODES = new Set(['transient', 'lock-error', 'timeout', 'throttled', 'incomplete']);
/** A gateway answers these without knowing what became of the request behind it. */
const FATE_UNKNOWN = new Set([408, 500, 502, 504]);
const LATER = new Set([425, 429, 503]);

/** What is said of one request, of its own or as an entry of a batch. */
export interface Said {
  readonly status: number;
  /** Text, or an OperationOutcome already parsed; null when it could not be read. */
  readonly body: unknown;
  readonly retryAfter: string | undefined;
  /** Where it was redirected to. */
  readonly location?: string | undefined;
}

export function verdictOnAnswer(answer: HttpAnswer, purpose: Purpose, nowMs: number): Verdict {
  const { status, body, headers } = answer;
  const retryAfter = headers['retry-after'];
  const verdict = verdictOn({ status, body, retryAfter, location: headers.location }, purpose, nowMs);
  // A page of a proxy or of a sign-in is no answer of the target, whatever its status.
  if (body === null || /^\s*(\{|<OperationOutcome|$)/.test(body)) return verdict;
  const outcome = outcomeOf(status, body);
  const page: Outcome = { ...outcome, why: `${outcome.why} with a body that is no resource` };
  if (verdict.kind === 'taken') return { kind: 'unknown', outcome: page };
  if (status === 404)
    return {
      kind: 'later',
      outcome: { ...page, why: `${page.why}: something else answers there; see whether base_url is right` },
      afterMs: undefined,
    };
  return verdict;
}

export function verdictOn(
  { status, body, retryAfter, location }: Said,
  purpose: Purpose,
  nowMs: number,
): Verdict {
  if (status === 200 || status === 201 || (status === 204 && purpose !== 'read')) return { kind: 'taken' };
  if (status === 202) return { kind: 'accepted' };
  const outcome = outcomeOf(status, body);
  const codes = outcome.issues?.map(({ code }) => code) ?? [];
  const afterMs = retryAfterMs(retryAfter ?? null, nowMs);
  if (status === 401) return { kind: 'unauthorized', outcome };
  if (status === 403) return { kind: 'forbidden', outcome };
  if (FATE_UNKNOWN.has(status)) return { kind: 'unknown', outcome };
  if (LATER.has(status) || codes.some((code) => TRANSIENT_CODES.has(code)))
    return { kind: 'later', outcome, afterMs };
  if (status >= 300 && status < 400)
    return {
      kind: 'later',
      outcome: { ...outcome, why: `HTTP ${status}: ${redirected(location)}` },
      afterMs,
    };
  if (codes.includes('duplicate')) return { kind: 'duplicate', outcome };
  if (status === 412 && purpose === 'create') return { kind: 'multiple-matches', outcome };
  if (status === 409 && purpose === 'create') return { kind: 'duplicate', outcome };
  if (status === 409 || status === 412) return { kind: 'conflict', outcome };
  if ((status === 404 || status === 410) && purpose !== 'create') return { kind: 'gone', outcome };
  if ((status >= 400 && status < 500) || status === 501) return { kind: 'refused', outcome };
  return { kind: 'later', outcome, afterMs };
}

function redirected(location: string | undefined): string {
  const to = location === undefined ? '' : ` to ${location.slice(0, 500)}`;
  return `redirects are not followed${to}; if the target has moved, change its base_url`;
}

export function verdictOnFailure(error: unknown): Verdict {
  const why = error instanceof Error ? error.message : String(error);
  if (error instanceof NotSent)
    return { kind: 'later', outcome: { why: `not sent: ${why}` }, afterMs: undefined };
  return { kind: 'unknown', outcome: { why: `no answer: ${why}` } };
}
