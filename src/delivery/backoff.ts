/** How long to wait before the next attempt, ms: full jitter under an exponential that is capped. */
export interface Backoff {
  readonly baseMs: number;
  readonly capMs: number;
}

/** @param attempts made so far, from 1 @param random in [0, 1) */
export function backoffMs({ baseMs, capMs }: Backoff, attempts: number, random: number): number {
  const ceiling = Math.min(capMs, baseMs * 2 ** Math.min(attempts - 1, 30));
  return Math.round(ceiling * random);
}

/**
 * The same, and no less than the target asked for. A target that asks for no pause, or for a time that is past by our
 * clock, gets the one that it would have got unasked.
 */
export function pauseMs(
  backoff: Backoff,
  attempts: number,
  askedMs: number | undefined,
  random: number,
): number {
  return Math.max(Math.min(askedMs ?? 0, backoff.capMs), backoffMs(backoff, attempts, random));
}

/** Retry-After as delta-seconds or HTTP-date (RFC 9110, 10.2.3), in ms from now; undefined when absent or unreadable. */
export function retryAfterMs(header: string | null, nowMs: number): number | undefined {
  if (header === null) return undefined;
  if (/^\d{1,9}$/.test(header)) return Number(header) * 1000;
  const at = Date.parse(header);
  return Number.isNaN(at) ? undefined : Math.max(0, at - nowMs);
}
