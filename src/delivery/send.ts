/** One attempt at one delivery: what its target gets, and what came of it. */
import type { Delivery, Taken } from '../store/delivery-port.ts';
import type { Store } from '../store/port.ts';
import type { Clock } from './clock.ts';
import type { Connection } from './connection.ts';
import { createDirectory, type Directory } from './directory.ts';
import type { Attempted, End, Stopped } from './end.ts';
import { chooseResources, inOrder, withSubjects, withWords } from './prepare.ts';
import { fixedWay, probe, type Way } from './probe.ts';
import { identifierOf, type Resource, withReferences } from './resource.ts';
import { sendBundle } from './send-bundle.ts';
import { type One, sendOne, type Went, whyOf } from './send-one.ts';
import type { Target } from './target.ts';

export interface SenderOptions {
  readonly store: Store;
  readonly target: Target;
  readonly connection: Connection;
  readonly clock: Clock;
  /** Start of our canonical URLs. */
  readonly canonical: string;
}

export interface Sender {
  attempt(delivery: Delivery): Promise<Attempted>;
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

  async function attempt(delivery: Delivery): Promise<Attempted> {
    const way = await wayOf();
    if ('why' in way) return ended({ kind: 'later', outcome: { why: way.why }, afterMs: undefined });
    const chosen = chooseResources(store, target, way, delivery);
    if (chosen.resources.length === 0) return ended({ kind: 'delivered' });
    const resources = await withSubjectsFound(chosen.resources, target, directory);
    if ('kind' in resources) return ended(resources);
    const isCertain = !delivery.uncertain && delivery.redo === null;
    const sending: Sending = {
      ...options,
      way,
      delivery,
      isCertain,
      known: new Map(chosen.known),
      sent: new Set(resources.map(({ name }) => name)),
      connection: whileClaimed(options, delivery),
      inTurn: turns,
    };
    const isBundle = way.mode === 'batch' || way.mode === 'transaction';
    const wents = await (isBundle ? sendTogether(sending, resources) : sendEach(sending, resources));
    return { end: endOf(wents), taken: wents.flatMap(({ taken }) => taken ?? []) };
  }

  return {
    attempt: (delivery) =>
      attempt(delivery).catch((error: unknown) => {
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
  readonly known: Map<string, Taken>;
  /** Names of all that goes with this attempt. */
  readonly sent: ReadonlySet<string>;
  readonly inTurn: Turns;
}

interface Tried extends Went {
  readonly name: string;
}

async function withSubjectsFound(
  resources: readonly Resource[],
  target: Target,
  directory: Directory,
): Promise<readonly Resource[] | Stopped> {
  const ready: Resource[] = [];
  for (const resource of resources) {
    const found = await directory.find(resource.text, target);
    if ('kind' in found) return found;
    ready.push({ ...resource, text: withSubjects(withWords(resource, target), target, found) });
  }
  return ready;
}

/** How each went, up to the first that stops the delivery. */
async function sendEach(sending: Sending, resources: readonly Resource[]): Promise<readonly Tried[]> {
  const wents: Tried[] = [];
  for (const resource of inOrder(resources)) {
    const one = oneOf(sending, resource, false);
    const send = () => sendOne(sending.connection, sending.way, one);
    const went = await (sending.way.mode === 'create' ? sending.inTurn(keyOf(one), send) : send());
    wents.push({ ...went, name: resource.name });
    if (went.taken !== null) sending.known.set(went.taken.resource, went.taken);
    if (stops(went)) break;
  }
  return wents;
}

async function sendTogether(sending: Sending, resources: readonly Resource[]): Promise<readonly Tried[]> {
  const { way, connection, clock } = sending;
  const type = way.mode === 'batch' ? 'batch' : 'transaction';
  const ones = resources.map((resource) => oneOf(sending, resource, true));
  const wents = (await sendBundle(connection, type, ones, clock.now())).map(
    (went, i): Tried => ({ ...went, name: resources[i]?.name ?? '' }),
  );
  if (wents.some(stops)) return wents;
  // One bad resource fails a whole transaction: one by one only the bad one fails.
  const again = wents.map(({ verdict }) => canGoAlone(verdict.kind, type, ones.length));
  const alone = await sendEach(
    { ...sending, way: { ...way, mode: 'put' } },
    resources.filter((_, i) => again[i]),
  );
  return [...wents.filter((_, i) => again[i] !== true), ...alone];
}

function canGoAlone(kind: Went['verdict']['kind'], type: 'batch' | 'transaction', count: number): boolean {
  if (kind === 'conflict' || kind === 'gone') return true;
  return type === 'transaction' && count > 1 && kind !== 'taken' && kind !== 'accepted';
}

function oneOf(sending: Sending, resource: Resource, together: boolean): One {
  const { known, sent, canonical } = sending;
  const valueAt = (name: string, version: string | undefined): string | null => {
    const there = known.get(name);
    if (together && sent.has(name))
      return version === undefined ? name : versionToBe(name, Number(version), there);
    if (there?.remote == null) return null;
    return version === undefined ? there.remote : versionThere(there, Number(version));
  };
  const text = withReferences(resource, valueAt, `${canonical}/observation`);
  return { resource, text, known: known.get(resource.name), uncertain: !sending.isCertain };
}

/** Versions are counted by the target: one is named only where it is sure to be the one that is meant. */
function versionThere({ remote, etag, version }: Taken, wanted: number): string {
  const [, counted] = /^W\/"([A-Za-z0-9\-.]{1,64})"$/.exec(etag ?? '') ?? [];
  return counted === undefined || version !== wanted ? `${remote}` : `${remote}/_history/${counted}`;
}

/** The same for what goes in the same Bundle: it will be the next, if the target has counted as we have. */
function versionToBe(name: string, wanted: number, before: Taken | undefined): string {
  const isInStep = wanted === 1 ? before === undefined : before?.etag === `W/"${wanted - 1}"`;
  return isInStep ? `${name}/_history/${wanted}` : name;
}

const keyOf = ({ resource, text }: One): string => JSON.stringify(identifierOf(text) ?? resource.name);

const STOPPING = new Set<string>(['later', 'unknown', 'held', 'unauthorized', 'forbidden']);
const stops = ({ verdict }: Went): boolean => STOPPING.has(verdict.kind);

const MOST_NAMED = 20;

function endOf(wents: readonly Tried[]): End {
  const stopped = wents.find(stops)?.verdict;
  if (stopped !== undefined) return stopped as End;
  const refused = wents.filter(({ verdict }) => verdict.kind !== 'taken' && verdict.kind !== 'accepted');
  const [first] = refused;
  if (first !== undefined) {
    const resources = refused.slice(0, MOST_NAMED).map(({ name }) => name);
    return { kind: 'refused', outcome: { ...whyOf(first.verdict), resources } };
  }
  const accepted = wents.some(({ verdict }) => verdict.kind === 'accepted');
  return accepted ? { kind: 'accepted', outcome: { why: 'HTTP 202' } } : { kind: 'delivered' };
}

const ended = (end: End): Attempted => ({ end, taken: [] });

class ClaimLost extends Error {}

/** A claim must not lapse while the target may still be acting on a request: it is made longer before each that needs it. */
function whileClaimed({ store, target, connection, clock }: SenderOptions, delivery: Delivery): Connection {
  let lapsesMs = clock.now() + claimMs(target);
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

type Turns = <T>(key: string, run: () => Promise<T>) => Promise<T>;

/** One after the other for each key: what two drains share must not be created by both at once. */
function createTurns(): Turns {
  const last = new Map<string, Promise<unknown>>();
  return (key, run) => {
    const mine = (last.get(key) ?? Promise.resolve()).then(run);
    const settled = mine
      .catch(() => undefined)
      .finally(() => {
        if (last.get(key) === settled) last.delete(key);
      });
    last.set(key, settled);
    return mine;
  };
}
