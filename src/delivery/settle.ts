/** What becomes of a delivery after an attempt. */
import type { Delivery, Outcome, Settlement } from '../store/delivery-port.ts';
import { backoffMs } from './backoff.ts';
import type { Attempted } from './end.ts';
import type { Target } from './target.ts';

/** Fewer attempts than this are no ground for giving up, whatever the clock says. */
const FEWEST_ATTEMPTS = 10;

/** @param random in [0, 1) @returns null where it is somebody else's to settle */
export function settlementOf(
  target: Target,
  delivery: Delivery,
  { end, taken }: Attempted,
  nowMs: number,
  random: number,
): Settlement | null {
  switch (end.kind) {
    case 'lost':
      return null;
    case 'delivered':
      return { state: 'delivered', outcome: null, taken };
    case 'accepted':
      return { state: 'accepted', outcome: end.outcome, taken };
    case 'refused':
      return { state: 'dead', outcome: end.outcome, taken };
    case 'forbidden':
      // The target is parked, so that nothing is sent whatever is due.
      return { state: stateOf(delivery), dueMs: nowMs, outcome: end.outcome, taken };
    default: {
      const { outcome } = end;
      const why = gaveUp(target, delivery, nowMs, outcome);
      if (why !== null) return { state: 'dead', outcome: { ...outcome, why }, taken };
      if (end.kind === 'unknown')
        return { state: 'unknown', dueMs: nowMs + target.requestCeilingMs, outcome, taken };
      const asked = end.kind === 'later' ? end.afterMs : undefined;
      const wait = asked ?? backoffMs(target.backoff, delivery.attempts, random);
      return {
        state: stateOf(delivery),
        dueMs: nowMs + Math.min(wait, target.backoff.capMs),
        outcome,
        taken,
      };
    }
  }
}

/** What an earlier attempt may have left at the target has still to be looked for. */
const stateOf = ({ uncertain }: Delivery): 'unknown' | 'waiting' => (uncertain ? 'unknown' : 'waiting');

/** What to say where it failed for too long; null where it is to be tried again. */
function gaveUp(
  { giveUpMs }: Target,
  { attempts, sinceMs }: Delivery,
  nowMs: number,
  { why }: Outcome,
): string | null {
  if (nowMs - sinceMs <= giveUpMs || attempts < FEWEST_ATTEMPTS) return null;
  return `given up after ${attempts} attempts in ${Math.floor((nowMs - sinceMs) / 3_600_000)} h: ${why}`;
}
