/** One attempt at one delivery: what its target gets, and what came of it. */
import type { Claimed, Delivery, StartBundle } from '../store/delivery-port.ts';
import { afterReview, lookForAll, lookForShared, type Means } from './awaited.ts';
import { isHandled } from './breaker.ts';
import type { Connection } from './connection.ts';
import { createDirectory, type Directory } from './directory.ts';
import type { Attempted, End, Stopped } from './end.ts';
import { type Chosen, chooseResources, isSentAsIssued, withSubjects, withWords } from './prepare.ts';
import { fixedWay, probe, type Way } from './probe.ts';
import { type Resource, textOf } from './resource.ts';
import { endOf, sendEach, sendTogether, takenIn } from './send-resources.ts';
import { apart, bundleUpTo, sendShared } from './send-shared.ts';
import type { Target } from './target.ts';
import { createTurns } from './turns.ts';

export interface Sender {
  /** @param lapsesMs when the claim on it lapses */
  attempt(delivery: Delivery, lapsesMs: number): Promise<Attempted>;
  /** The same with what waits behind it, in one Bundle: all went well, or came to nothing in the same way. */
  attemptShared(claimed: Claimed, lapsesMs: number): Promise<readonly Attempted[]>;
  /** What may share a Bundle; null where the target takes, or is known to take, none that is all there or not at all. */
  startBundle(): StartBundle | null;
  /** Asks the target again what it can do, and whom it knows, before the next attempt. */
  forget(): void;
}

export function createSender(options: Means): Sender {
  const { store, target, connection, clock } = options;
  const directory = createDirectory(connection, clock);
  const turns = createTurns();
  let known: Way | null = fixedWay(target);
  let asking: ReturnType<typeof probe> | null = null;

  async function wayOf(): Promise<Way | { readonly why: string }> {
    if (known !== null) return known;
    asking ??= probe(connection, target).finally(() => {
      asking = null;
    });
    const probed = await asking;
    if ('why' in probed) return probed;
    known = probed.way;
    return known;
  }

  async function attempt(delivery: Delivery, lapsesMs: number): Promise<Attempted> {
    const probed = await wayOf();
    if ('why' in probed) return ended({ kind: 'later', outcome: { why: probed.why }, afterMs: undefined });
    const way = wayOfDrain(store, delivery, probed);
    if (delivery.redo === 'look') return lookForAll(options, way, delivery);
    const chosen = chooseResources(store, { target, way, canonical: options.canonical }, delivery);
    if (chosen.resources.length === 0) return ended(endOf([], chosen.awaited));
    // Who asks for it again may have mended there who the patient is.
    if (delivery.redo !== null) directory.forget();
    const resources = await withSubjectsFound(chosen.resources, target, directory);
    if ('kind' in resources) return ended(resources);
    const reviewed = await afterReview(options, way, delivery, chosen);
    if ('kind' in reviewed) return ended(reviewed);
    const held = whileClaimed(options, delivery, lapsesMs);
    const there = delivery.shared && way.mode !== 'create' ? await lookForShared(held, resources) : [];
    if ('kind' in there) return ended(there);
    const sending = {
      ...options,
      way,
      connection: held,
      inTurn: turns,
      isCertain: !delivery.uncertain && delivery.redo === null,
      isOrdered: delivery.redo !== null,
      known: new Map([...reviewed.known, ...there.map((each) => [each.resource, each] as const)]),
    };
    const isBundle = way.mode === 'batch' || way.mode === 'transaction';
    const left = resources.filter(({ name }) => !there.some(({ resource }) => resource === name));
    const wents = await (isBundle ? sendTogether(sending, left) : sendEach(sending, left));
    return {
      end: endOf(wents, chosen.awaited),
      taken: [...reviewed.seen, ...there, ...wents.flatMap(takenIn(clock.now()))],
    };
  }

  async function attemptShared(claimed: Claimed, lapsesMs: number): Promise<readonly Attempted[] | End> {
    const way = await wayOf();
    if ('why' in way) return { kind: 'later', outcome: { why: way.why }, afterMs: undefined };
    if (wayOfDrain(store, claimed, way).mode !== 'transaction')
      return apart('the target takes no transactions by now, or not of this drain');
    const parts: Chosen[] = [];
    for (const delivery of [claimed, ...claimed.behind]) {
      const chosen = chooseResources(store, { target, way, canonical: options.canonical }, delivery);
      const isOpen = [...chosen.known.values()].some(({ acceptedMs }) => acceptedMs !== null);
      const resources = await withSubjectsFound(chosen.resources, target, directory);
      // What the target does not handle at all would not be handled alone either.
      if ('kind' in resources && !isHandled(resources)) return resources;
      if (isOpen || 'kind' in resources) return apart(`${delivery.logIndex} is not ready to be sent`);
      parts.push({ ...chosen, resources });
    }
    const held = whileClaimed(options, claimed, lapsesMs);
    const known = new Map(parts.flatMap((each) => [...each.known]));
    const sending = {
      ...options,
      way,
      isCertain: true,
      isOrdered: false,
      known,
      connection: held,
      inTurn: turns,
    };
    return sendShared(
      sending,
      parts.map(({ resources }) => resources),
    );
  }

  const startBundle = bundleUpTo(target.mostInBundle);

  return {
    attempt: (delivery, lapsesMs) =>
      attempt(delivery, lapsesMs).catch((error: unknown) =>
        error instanceof ClaimLost ? ended(LOST) : Promise.reject(error),
      ),
    async attemptShared(claimed, lapsesMs) {
      const came = await attemptShared(claimed, lapsesMs).catch((error: unknown) =>
        error instanceof ClaimLost ? LOST : Promise.reject(error),
      );
      return 'kind' in came ? [claimed, ...claimed.behind].map(() => ended(came)) : came;
    },
    startBundle: () => (known?.mode === 'transaction' && target.mostInBundle > 1 ? startBundle : null),
    forget() {
      known = fixedWay(target);
      directory.forget();
    },
  };
}

/** Under our ids, what stands there under ids of the target's choice would stand there twice: it goes on by create. */
const wayOfDrain = (store: Means['store'], { target, drain }: Delivery, way: Way): Way =>
  way.mode !== 'create' && store.standsElsewhere(target, drain) ? { ...way, mode: 'create' } : way;

async function withSubjectsFound(
  resources: readonly Resource[],
  target: Target,
  directory: Directory,
): Promise<readonly Resource[] | Stopped> {
  if (isSentAsIssued(target)) return resources;
  const ready: Resource[] = [];
  for (const resource of resources) {
    const found = await directory.find(textOf(resource.text), target);
    if ('kind' in found) return found;
    ready.push({ ...resource, text: withSubjects(withWords(resource, target), target, found) });
  }
  return ready;
}

const ended = (end: End): Attempted => ({ end, taken: [] });

const LOST: End = { kind: 'lost' };

class ClaimLost extends Error {}

/** A claim must not lapse while the target may still be acting on a request: it is made longer before each that needs it. */
function whileClaimed(
  { store, target, connection, clock }: Means,
  delivery: Delivery,
  claimedUntilMs: number,
): Connection {
  let lapsesMs = claimedUntilMs;
  return {
    ...connection,
    async ask(asked) {
      if (clock.now() + target.requestCeilingMs + target.timeoutMs > lapsesMs) {
        lapsesMs = clock.now() + claimMs(target);
        if (!(await store.extend(delivery, lapsesMs))) throw new ClaimLost();
      }
      return connection.ask(asked);
    },
  };
}

export const claimMs = ({ requestCeilingMs, timeoutMs }: Target): number => requestCeilingMs + 2 * timeoutMs;
