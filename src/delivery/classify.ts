/** What an answer of the EHR, or its absence, means for a delivery. */
import { retryAfterMs } from './backoff.ts';

export type Verdict =
  | { readonly kind: 'delivered' }
  /** The EHR will never take this as it is. */
  | { readonly kind: 'refused'; readonly why: string }
  /** Nothing was stored; try again later. */
  | { readonly kind: 'later'; readonly why: string; readonly afterMs: number | undefined }
  /** It may have been stored, or may still be: wait out the time in which the EHR could act on it. */
  | { readonly kind: 'unknown'; readonly why: string };

const PERMANENT = new Set([400, 404, 405, 410, 413, 415, 422]);
const MOST_KEPT = 2048;

export function verdictOn(status: number, body: string, retryAfter: string | null, nowMs: number): Verdict {
  const why = `HTTP ${status}${diagnosticsIn(body)}`;
  if (status === 200 || status === 201) return { kind: 'delivered' };
  if (PERMANENT.has(status)) return { kind: 'refused', why };
  // A gateway answers these without knowing what became of the request behind it.
  if (status === 502 || status === 504 || status === 500 || status === 408) return { kind: 'unknown', why };
  return { kind: 'later', why, afterMs: retryAfterMs(retryAfter, nowMs) };
}

export function verdictOnFailure(error: unknown): Verdict {
  const code = codeOf(error);
  const neverSent = code === 'ECONNREFUSED' || code === 'ENOTFOUND' || code === 'EAI_AGAIN';
  return neverSent ? { kind: 'later', why: code, afterMs: undefined } : { kind: 'unknown', why: code };
}

function codeOf(error: unknown): string {
  for (let cause = error; cause instanceof Error; cause = cause.cause) {
    if ('code' in cause && typeof cause.code === 'string') return cause.code;
    if (cause.name === 'TimeoutError') return 'no answer in time';
  }
  return error instanceof Error ? error.name : String(error);
}

/** The diagnostics of an OperationOutcome, or the start of whatever else came. */
function diagnosticsIn(body: string): string {
  try {
    const { issue } = JSON.parse(body) as {
      issue?: readonly { diagnostics?: string; details?: { text?: string } }[];
    };
    const texts = issue?.flatMap(({ diagnostics, details }) => diagnostics ?? details?.text ?? []);
    if (texts !== undefined && texts.length > 0) return `: ${texts.join('; ').slice(0, MOST_KEPT)}`;
  } catch {
    // Not JSON: a proxy's page, kept as it came.
  }
  return body === '' ? '' : `: ${body.slice(0, MOST_KEPT)}`;
}
