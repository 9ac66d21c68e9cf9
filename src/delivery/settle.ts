/** What becomes of a delivery after an attempt. */
import { HOUR_MS } from '../domain/numbers/units.ts';
import type { Delivery, Fate, Outcome, Settlement } from '../store/delivery-port.ts';
import { pauseMs } from './backoff.ts';
import type { Attempted, Awaited } from './end.ts';
import type { Target } from './target.ts';

/** Fewer attempts than this are no ground for giving up, whatever the clock says. */
const FEWEST_ATTEMPTS = 10;

/** The first look for what was accepted comes after so long, the next when half as much time again has passed. */
const FIRST_LOOK_MS = 60_000;
const SELDOM_MS = HOUR_MS;
/** What was accepted so often, and never came, is for a person to ask about. */
const MOST_ACCEPTED = 2;

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
      return { ...newlyAccepted(delivery, end.outcome, nowMs), taken };
    case 'awaited':
    case 'unseen':
      return { ...afterLook(target, delivery, end, nowMs), taken };
    case 'refused':
      return { state: 'dead', outcome: end.outcome, taken };
    case 'apart':
    case 'forbidden':
      // Alone at once; where it is forbidden the target is parked, so that nothing is sent whatever is due.
      return { state: stateOf(delivery), dueMs: nowMs, outcome: end.outcome, taken };
    default: {
      const { outcome } = end;
      const why = gaveUp(target, delivery, nowMs, outcome);
      if (why !== null) return { state: 'dead', outcome: { ...outcome, why }, taken };
      if (end.kind === 'unknown')
        return { state: 'unknown', dueMs: nowMs + target.requestCeilingMs, outcome, taken };
      const asked = end.kind === 'later' ? end.afterMs : undefined;
      const waitMs = pauseMs(target.backoff, delivery.attempts, asked, random);
      return { state: stateOf(delivery), dueMs: nowMs + waitMs, outcome, taken };
    }
  }
}

const newlyAccepted = ({ accepted }: Delivery, outcome: Outcome, nowMs: number): Fate => ({
  state: 'accepted',
  outcome,
  accepted: accepted + 1,
  dueMs: nowMs + FIRST_LOOK_MS,
});

function afterLook(
  { reviewMs }: Target,
  { accepted }: Delivery,
  { kind, outcome, acceptedMs }: Awaited,
  nowMs: number,
): Fate {
  const overMs = acceptedMs + reviewMs;
  if (nowMs < overMs) {
    const pauseMs = Math.min(Math.max((nowMs - acceptedMs) / 2, FIRST_LOOK_MS), SELDOM_MS);
    return { state: 'accepted', outcome, accepted, dueMs: Math.min(Math.round(nowMs + pauseMs), overMs) };
  }
  // Sent again unseen, it might stand there twice.
  if (kind === 'unseen') return { state: 'accepted', outcome, accepted, dueMs: null };
  const why = `${outcome.why} after ${reviewMs / HOUR_MS} h`;
  return accepted < MOST_ACCEPTED
    ? { state: 'requeued', outcome: { ...outcome, why: `${why}: it is sent again` } }
    : { state: 'dead', outcome: { ...outcome, why: `${why}, ${accepted} times: ask the target why` } };
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
  return `given up after ${attempts} attempts in ${Math.floor((nowMs - sinceMs) / HOUR_MS)} h: ${why}`;
}
