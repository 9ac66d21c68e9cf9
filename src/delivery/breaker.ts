/** Keeps a target that does not answer from being asked for every drain: it rests, then one request tries it. */
import { type Backoff, pauseMs } from './backoff.ts';
import type { End } from './end.ts';

export interface Breaker {
  /** Attempts in a row that the target did not handle. */
  readonly failures: number;
  /** No request before this time, ms since the epoch. */
  readonly restsUntilMs: number;
  /** Scope or policy stands in the way of all that goes there: a person must look. */
  readonly isParked: boolean;
}

export const CLOSED: Breaker = { failures: 0, restsUntilMs: 0, isParked: false };

const MOST_FAILURES = 3;
/** A parked target is tried this often, so that it comes back by itself once the other side has mended it. */
const PARKED_MS = 3_600_000;

const HANDLED = new Set<End['kind']>([
  'delivered',
  'accepted',
  'awaited',
  'unseen',
  'refused',
  'held',
  'apart',
]);

/** Whether the target is being tried with one request at a time. */
export const isTripped = ({ failures, isParked }: Breaker): boolean => isParked || failures >= MOST_FAILURES;

/** A refusal is an answer: the target works, the one delivery does not. */
export const isHandled = ({ kind }: End): boolean => HANDLED.has(kind);

export function breakerAfter(
  breaker: Breaker,
  end: End,
  backoff: Backoff,
  nowMs: number,
  random: number,
): Breaker {
  if (end.kind === 'lost' || end.kind === 'barred') return breaker;
  if (end.kind === 'forbidden') return { failures: 0, restsUntilMs: nowMs + PARKED_MS, isParked: true };
  if (isHandled(end)) return CLOSED;
  const failures = breaker.failures + 1;
  if (failures < MOST_FAILURES) return { failures, restsUntilMs: 0, isParked: false };
  const asked = end.kind === 'later' ? end.afterMs : undefined;
  const restMs = pauseMs(backoff, failures - MOST_FAILURES + 1, asked, random);
  return { failures, restsUntilMs: nowMs + restMs, isParked: false };
}
