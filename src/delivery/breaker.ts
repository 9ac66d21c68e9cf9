/** Keeps a target that does not answer from being asked for every drain: it rests, then one request tries it. */
import { type Backoff, backoffMs } from './backoff.ts';
import type { Verdict } from './classify.ts';

export interface Breaker {
  /** Requests in a row that the target did not handle. */
  readonly failures: number;
  /** No request before this time, ms since the epoch. */
  readonly restsUntilMs: number;
}

export const CLOSED: Breaker = { failures: 0, restsUntilMs: 0 };

const MOST_FAILURES = 3;

/** Whether the target is being tried with one request at a time. */
export const isTripped = ({ failures }: Breaker): boolean => failures >= MOST_FAILURES;

/** A refusal is an answer: the target works, the one delivery does not. */
export function breakerAfter(
  breaker: Breaker,
  verdict: Verdict,
  backoff: Backoff,
  nowMs: number,
  random: number,
): Breaker {
  if (verdict.kind === 'delivered' || verdict.kind === 'refused') return CLOSED;
  const failures = breaker.failures + 1;
  if (failures < MOST_FAILURES) return { failures, restsUntilMs: 0 };
  const asked = verdict.kind === 'later' ? verdict.afterMs : undefined;
  const rest = asked ?? backoffMs(backoff, failures - MOST_FAILURES + 1, random);
  return { failures, restsUntilMs: nowMs + Math.min(rest, backoff.capMs) };
}
