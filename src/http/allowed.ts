/** Whether a client may write what it sends: the route alone does not tell. */
import { isBound, isWithin, type Principal } from '../auth/principal.ts';
import { allows, CORRECT, READ, scopeFor } from '../auth/scope.ts';
import { assignmentsOf, UNKNOWN_DEVICE } from '../domain/devices/device.ts';
import { isSamePatient } from '../domain/fold/drain.ts';
import type { EntryBody } from '../domain/vocabulary/entry.ts';
import type { IncomingAct } from '../record/device-acts.ts';
import type { Incoming } from '../record/incoming.ts';
import type { Store } from '../store/port.ts';
import { type Problem, problem } from './problem.ts';

interface Sent {
  /** Null: where it goes is found when it is written, and whether the client reaches that. */
  readonly drain: string | null;
  readonly body: EntryBody;
}

/** Why the client may not write it; null when it may. */
export function writeRefusal(principal: Principal, store: Store, { drain, body }: Sent): Problem | null {
  const changes = body.kind === 'corrected' || body.kind === 'entered-in-error';
  const refusal = changes ? changeRefusal(principal) : null;
  if (refusal !== null) return refusal;
  if (drain === null || !isBound(principal)) return null;
  // A placement says itself whose drain it is. A link does not: a drain of nobody may turn out to be anybody's.
  const linked = body.kind === 'placed' || body.kind === 'drain-updated' ? body.patient : undefined;
  const known = store.patientOf(drain) ?? undefined;
  const whose = body.kind === 'placed' ? (known ?? linked) : known;
  const reached = [whose, linked ?? whose].every((patient) => isWithin(principal, drain, patient));
  if (reached) return null;
  return outOfBounds('The client is confined to one patient or drain, and this is not theirs.');
}

/** Why the client may change nothing that was charted; null when it may. */
export function changeRefusal({ scope }: Principal): Problem | null {
  if (allows(scope, CORRECT)) return null;
  const words = `It needs the scope ${scopeFor(CORRECT)} to change what was charted.`;
  return problem(403, 'not-allowed', 'The client may not do this', words);
}

export const outOfBounds = (words: string): Problem =>
  problem(403, 'out-of-bounds', 'The client may not reach this', words);

/** Whether the client may reach the drain, as it is linked now. */
export const reachesDrain = (principal: Principal, drain: string, store: Store): boolean =>
  !isBound(principal) || isWithin(principal, drain, store.patientOf(drain) ?? undefined);

/**
 * Whether the client may be told of what rests on these drains: it holds numbers of each, so of all of them or not at all.
 * Of what is left out it is not told that there is something.
 */
export const reachesAll = (principal: Principal, drains: readonly string[], store: Store): boolean =>
  drains.every((drain) => reachesDrain(principal, drain, store));

/**
 * Whether the client may read what an entry in the stream of the drain says: while the drain was taken for somebody
 * else's, that may be of them. What stands of it is told in the chart.
 */
export function readsEntry(
  principal: Principal,
  store: Store,
  drain: string,
): (entry: { readonly logIndex: number }) => boolean {
  if (!isBound(principal)) return () => true;
  const now = store.patientOf(drain) ?? undefined;
  return ({ logIndex }) => {
    const then = store.patientOf(drain, logIndex);
    return then === null || isSamePatient(then, now);
  };
}

/** Why the client may not read what is summed over a drain and those linked to its patient now; null when it may. */
export function sumRefusal(principal: Principal, store: Store, drain: string): Problem | null {
  if (reachesAll(principal, [drain, ...store.siblings(drain)], store)) return null;
  return outOfBounds(
    'The client is confined to a drain or patient, and these sums are over drains beyond: ask for its own.',
  );
}

/** The answer to an entry as the client may see it: without advisories over drains beyond its own. */
export function receiptFor(principal: Principal, store: Store, receipt: string): string {
  if (!isBound(principal)) return receipt;
  const { advisories, ...rest } = JSON.parse(receipt) as { readonly advisories?: Turns };
  if (advisories === undefined) return receipt;
  const told = Object.entries(advisories).map(
    ([turn, episodes]) =>
      [turn, episodes.filter(({ drains }) => reachesAll(principal, drains, store))] as const,
  );
  const isTold = told.some(([, episodes]) => episodes.length > 0);
  return JSON.stringify({ ...rest, ...(isTold ? { advisories: Object.fromEntries(told) } : {}) });
}

/** Of a receipt: what it raised, ended and withdrew. */
type Turns = Readonly<Record<string, readonly { readonly drains: readonly string[] }[]>>;

/**
 * Whether the client may see what an entry was answered once, which may be of drains beyond its own: its identifier may
 * be used again by anybody. What counted for no drain is nobody's who is confined.
 */
export function reachesReceipt(principal: Principal, store: Store, receipt: string): boolean {
  if (!isBound(principal)) return true;
  const { drain, device, moved = [] } = JSON.parse(receipt) as Answered;
  const reaches = (each: string): boolean => reachesDrain(principal, each, store);
  if (drain !== undefined) return drain !== null && reaches(drain);
  const assignments = assignmentsOf(store.device(device ?? '') ?? UNKNOWN_DEVICE);
  return assignments.some((each) => reaches(each.drain)) && moved.every((each) => reaches(each.drain));
}

/** Of a receipt: of an entry its drain, null while it has none; of what is charted of a device itself, that one. */
interface Answered {
  readonly drain?: string | null;
  readonly device?: string;
  readonly moved?: readonly { readonly drain: string }[];
}

/**
 * What is sent, with what is only known once it is found where it goes: whether the client reaches that, and whether a
 * refusal may quote to it what stands there.
 */
export function confined(principal: Principal, store: Store, incoming: Incoming): Incoming {
  const namesDevice = incoming.drain === null || incoming.body.device !== undefined;
  const sent = withoutQuotes(principal, incoming);
  if (!namesDevice || !isBound(principal)) return sent;
  return {
    ...sent,
    mayReach: (drain) => drain !== null && reachesDrain(principal, drain, store),
  };
}

/** The same of what is charted of a device itself: which drains it concerns is found when it is written. */
export function confinedAct(principal: Principal, store: Store, act: IncomingAct): IncomingAct {
  const sent = withoutQuotes(principal, act);
  return isBound(principal) ? { ...sent, mayReach: (drain) => reachesDrain(principal, drain, store) } : sent;
}

const withoutQuotes = <T extends object>({ scope }: Principal, sent: T): T =>
  allows(scope, READ) ? sent : { ...sent, quotesNothing: true };
