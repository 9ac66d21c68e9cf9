/** The resources of one delivery to its target: one by one, or in one Bundle. */
import type { Taken } from '../store/delivery-port.ts';
import type { Means } from './awaited.ts';
import { outcomeIn } from './connection.ts';
import type { End } from './end.ts';
import { inOrder, isAmongFacts, takenReferences } from './prepare.ts';
import type { Way } from './probe.ts';
import { identifierOf, type Resource, textOf, withReferences } from './resource.ts';
import { sendBundle } from './send-bundle.ts';
import { type One, sendOne, type Went } from './send-one.ts';
import type { Turns } from './turns.ts';

export interface Sending extends Means {
  readonly way: Way;
  /** Nothing of it was sent before. */
  readonly isCertain: boolean;
  /** Somebody ordered it. */
  readonly isOrdered: boolean;
  readonly known: ReadonlyMap<string, Taken>;
  readonly inTurn: Turns;
}

export interface Tried extends Went {
  readonly name: string;
}

/** What is only accepted is taken too, from when on it is to be looked for. */
export const takenIn =
  (nowMs: number) =>
  ({ taken, verdict }: Went): readonly Taken[] => {
    if (taken === null) return [];
    const acceptedMs = verdict.kind === 'accepted' ? nowMs : null;
    return [taken.acceptedMs === acceptedMs ? taken : { ...taken, acceptedMs }];
  };

// Written out: to spread objects took longer than all else that is done with an answer.
export const named = ({ verdict, taken }: Went, resource: Resource | undefined): Tried => ({
  verdict,
  taken,
  name: resource?.name ?? '',
});

/** How each went, up to the first that stops the delivery; referring only to what the target is known to have. */
export async function sendEach(sending: Sending, resources: readonly Resource[]): Promise<readonly Tried[]> {
  const known = new Map([
    ...takenReferences(sending.store, sending.target.name, resources),
    ...sending.known,
  ]);
  const wents: Tried[] = [];
  for (const resource of inOrder(resources)) {
    const one = oneOf(sending, resource, (name, version) => versionThere(known.get(name), version));
    const text = textOf(one.text);
    const identifier = identifierOf(text);
    const { isOrdered, connection, way } = sending;
    const send = () => sendOne(connection, way, { ...one, text, identifier, isOrdered });
    const key = JSON.stringify(identifier ?? resource.name);
    const went = await (way.mode === 'create' ? sending.inTurn(key, send) : send());
    wents.push({ ...went, name: resource.name });
    if (went.taken !== null) known.set(went.taken.resource, went.taken);
    if (stops(went)) break;
  }
  return wents;
}

/** Under our ids, so that references are right as they stand once all of it is there. */
export async function sendTogether(
  sending: Sending,
  resources: readonly Resource[],
): Promise<readonly Tried[]> {
  const { way, connection, clock } = sending;
  const type = way.mode === 'batch' ? 'batch' : 'transaction';
  const ones = inOneBundle(sending, resources);
  const wents = (await sendBundle(connection, type, ones, clock.now())).map((went, i) =>
    named(went, resources[i]),
  );
  if (wents.some(stops)) return wents;
  // One bad resource fails a whole transaction, and one may be bad for what it refers to: alone it is told which.
  const isWhole = type === 'transaction' && resources.length > 1;
  const again = resources.filter((resource, i) => canGoAlone(wents[i]?.verdict.kind, resource, isWhole));
  const alone = await sendEach({ ...sending, way: { ...way, mode: 'put' } }, again);
  return [...wents.filter(({ name }) => !again.some((each) => each.name === name)), ...alone];
}

/** As they are in a Bundle: what they refer to in it is there once all of it is. */
export function inOneBundle(sending: Sending, resources: readonly Resource[]): readonly One[] {
  const { known, target } = sending;
  const valueAt = (name: string, version: string | undefined): string | null =>
    isAmongFacts(name, target) ? versionToBe(name, version, known.get(name)) : null;
  return resources.map((resource) => oneOf(sending, resource, valueAt));
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
export const stops = ({ verdict }: Went): boolean => STOPPING.has(verdict.kind);

const MOST_NAMED = 20;

/** @param awaited names of what was accepted in an earlier attempt */
export function endOf(wents: readonly Tried[], awaited: readonly string[]): End {
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
