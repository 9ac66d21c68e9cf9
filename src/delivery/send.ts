/** One attempt at one delivery: what its target gets, and what came of it. */
import type { Delivery, Taken } from '../store/delivery-port.ts';
import type { Store } from '../store/port.ts';
import { afterReview, lookForAll } from './awaited.ts';
import type { Clock } from './clock.ts';
import { type Connection, outcomeIn } from './connection.ts';
import { createDirectory, type Directory } from './directory.ts';
import type { Attempted, End, Stopped } from './end.ts';
import {
  chooseResources,
  inOrder,
  isAmongFacts,
  isSentAsIssued,
  takenReferences,
  withSubjects,
  withWords,
} from './prepare.ts';
import { fixedWay, probe, type Way } from './probe.ts';
import { identifierOf, type Resource, withReferences } from './resource.ts';
import { sendBundle } from './send-bundle.ts';
import { type One, sendOne, type Went } from './send-one.ts';
import type { Target } from './target.ts';
import { createTurns, type Turns } from './turns.ts';

export interface SenderOptions {
  readonly store: Store;
  readonly target: Target;
  readonly connection: Connection;
  readonly clock: Clock;
  /** Start of our canonical URLs. */
  readonly canonical: string;
}

export interface Sender {
  /** @param lapsesMs when the claim on it lapses */
  attempt(delivery: Delivery, lapsesMs: number): Promise<Attempted>;
  /** Asks the target again what it can do, before the next attempt. */
  forgetWay(): void;
}

export function createSender(options: SenderOptions): Sender {
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
    const way = await wayOf();
    if ('why' in way) return ended({ kind: 'later', outcome: { why: way.why }, afterMs: undefined });
    if (delivery.redo === 'look') return lookForAll(options, way, delivery);
    const chosen = chooseResources(store, { target, way, canonical: options.canonical }, delivery);
    if (chosen.resources.length === 0) return ended(endOf([], chosen.awaited));
    const resources = await withSubjectsFound(chosen.resources, target, directory);
    if ('kind' in resources) return ended(resources);
    const reviewed = await afterReview(options, way, delivery, chosen);
    if ('kind' in reviewed) return ended(reviewed);
    const isCertain = !delivery.uncertain && delivery.redo === null;
    const sending: Sending = {
      ...options,
      way,
      delivery,
      isCertain,
      known: reviewed.known,
      connection: whileClaimed(options, delivery, lapsesMs),
      inTurn: turns,
    };
    const isBundle = way.mode === 'batch' || way.mode === 'transaction';
    const wents = await (isBundle ? sendTogether(sending, resources) : sendEach(sending, resources));
    return {
      end: endOf(wents, chosen.awaited),
      taken: [...reviewed.seen, ...wents.flatMap(takenIn(clock.now()))],
    };
  }

  return {
    attempt: (delivery, lapsesMs) =>
      attempt(delivery, lapsesMs).catch((error: unknown) => {
        if (error instanceof ClaimLost) return ended({ kind: 'lost' });
        throw error;
      }),
    forgetWay() {
      known = fixedWay(target);
    },
  };
}

interface Sending extends SenderOptions {
  readonly way: Way;
  readonly delivery: Delivery;
  /** Nothing of it was sent before. */
  readonly isCertain: boolean;
  readonly known: ReadonlyMap<string, Taken>;
  readonly inTurn: Turns;
}

interface Tried extends Went {
  readonly name: string;
}

/** What is only accepted is taken too, from when on it is to be looked for. */
const takenIn =
  (nowMs: number) =>
  ({ taken, verdict }: Went): readonly Taken[] =>
    taken === null ? [] : [{ ...taken, acceptedMs: verdict.kind === 'accepted' ? nowMs : null }];

async function withSubjectsFound(
  resources: readonly Resource[],
  target: Target,
  directory: Directory,
): Promise<readonly Resource[] | Stopped> {
  if (isSentAsIssued(target)) return resources;
  const ready: Resource[] = [];
  for (const resource of resources) {
    const found = await directory.find(resource.text, target);
    if ('kind' in found) return found;
    ready.push({ ...resource, text: withSubjects(withWords(resource, target), target, found) });
  }
  return ready;
}

/** How each went, up to the first that stops the delivery; referring only to what the target is known to have. */
async function sendEach(sending: Sending, resources: readonly Resource[]): Promise<readonly Tried[]> {
  const known = new Map([
    ...takenReferences(sending.store, sending.target.name, resources),
    ...sending.known,
  ]);
  const wents: Tried[] = [];
  for (const resource of inOrder(resources)) {
    const one = oneOf(sending, resource, (name, version) => versionThere(known.get(name), version));
    const identifier = identifierOf(one.text);
    const send = () => sendOne(sending.connection, sending.way, { ...one, identifier });
    const key = JSON.stringify(identifier ?? resource.name);
    const went = await (sending.way.mode === 'create' ? sending.inTurn(key, send) : send());
    wents.push({ ...went, name: resource.name });
    if (went.taken !== null) known.set(went.taken.resource, went.taken);
    if (stops(went)) break;
  }
  return wents;
}

/** Under our ids, so that references are right as they stand once all of it is there. */
async function sendTogether(sending: Sending, resources: readonly Resource[]): Promise<readonly Tried[]> {
  const { way, connection, clock, known, target } = sending;
  const type = way.mode === 'batch' ? 'batch' : 'transaction';
  const valueAt = (name: string, version: string | undefined): string | null =>
    isAmongFacts(name, target) ? versionToBe(name, version, known.get(name)) : null;
  const ones = resources.map((resource) => oneOf(sending, resource, valueAt));
  const wents = (await sendBundle(connection, type, ones, clock.now())).map(
    (went, i): Tried => ({ ...went, name: resources[i]?.name ?? '' }),
  );
  if (wents.some(stops)) return wents;
  // One bad resource fails a whole transaction, and one may be bad for what it refers to: alone it is told which.
  const isWhole = type === 'transaction' && resources.length > 1;
  const again = resources.filter((resource, i) => canGoAlone(wents[i]?.verdict.kind, resource, isWhole));
  const alone = await sendEach({ ...sending, way: { ...way, mode: 'put' } }, again);
  return [...wents.filter(({ name }) => !again.some((each) => each.name === name)), ...alone];
}

function canGoAlone(
  kind: Went['verdict']['kind'] | undefined,
  { references }: Resource,
  isWhole: boolean,
): boolean {
  if (kind === 'taken' || kind === 'accepted') return false;
  return isWhole || references.length > 0 || kind === 'conflict' || kind === 'gone' || kind === 'duplicate';
}

function oneOf(
  { known, canonical, isCertain }: Sending,
  resource: Resource,
  valueAt: (name: string, version: string | undefined) => string | null,
): One {
  const systems = { fact: `${canonical}/observation`, unit: `${canonical}/device` };
  const text = withReferences(resource, valueAt, systems);
  return { resource, text, known: known.get(resource.name), uncertain: !isCertain };
}

/** Versions are counted by the target: one is named only where it is sure to be the one that is meant. */
function versionThere(there: Taken | undefined, wanted: string | undefined): string | null {
  if (there === undefined || there.remote === null) return null;
  const [, counted] = /^W\/"([A-Za-z0-9\-.]{1,64})"$/.exec(there.etag ?? '') ?? [];
  const isMeant = counted !== undefined && String(there.version) === wanted;
  return isMeant ? `${there.remote}/_history/${counted}` : there.remote;
}

/** The same for what goes in the same Bundle: it will be the next, if the target has counted as we have. */
function versionToBe(name: string, wanted: string | undefined, before: Taken | undefined): string {
  if (wanted === undefined) return name;
  const isInStep = wanted === '1' ? before === undefined : before?.etag === `W/"${Number(wanted) - 1}"`;
  return isInStep ? `${name}/_history/${wanted}` : name;
}

const STOPPING = new Set<string>(['later', 'unknown', 'held', 'unauthorized', 'forbidden']);
const stops = ({ verdict }: Went): boolean => STOPPING.has(verdict.kind);

const MOST_NAMED = 20;

/** @param awaited names of what was accepted in an earlier attempt */
function endOf(wents: readonly Tried[], awaited: readonly string[]): End {
  const stopped = wents.find(stops)?.verdict;
  if (stopped !== undefined) return stopped as End;
  const unseen = wents.filter(({ verdict }) => verdict.kind !== 'taken');
  const refused = unseen.find(({ verdict }) => verdict.kind !== 'accepted');
  if (refused !== undefined) {
    // What was accepted beside it is named with it, so that it is not left to itself.
    const resources = [...unseen.map(({ name }) => name), ...awaited].slice(0, MOST_NAMED);
    return { kind: 'refused', outcome: { ...outcomeIn(refused.verdict), resources } };
  }
  const isAccepted = awaited.length > 0 || unseen.length > 0;
  return isAccepted ? { kind: 'accepted', outcome: { why: 'HTTP 202' } } : { kind: 'delivered' };
}

const ended = (end: End): Attempted => ({ end, taken: [] });

class ClaimLost extends Error {}

/** A claim must not lapse while the target may still be acting on a request: it is made longer before each that needs it. */
function whileClaimed(
  { store, target, connection, clock }: SenderOptions,
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
