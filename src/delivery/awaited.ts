/** Whether what a target accepted for later (202), or may have taken unheard, is there by now. Nothing here writes. */
import type { Delivery, Outcome, Taken } from '../store/delivery-port.ts';
import type { Store } from '../store/port.ts';
import type { Verdict } from './classify.ts';
import type { Clock } from './clock.ts';
import { type Connection, outcomeIn } from './connection.ts';
import type { Attempted, Awaited, Stopped } from './end.ts';
import { type Found, findOurs, readCurrent } from './look-up.ts';
import { awaitedResources, type Chosen, versionOf, withWords } from './prepare.ts';
import type { Way } from './probe.ts';
import { identifierOf, type Resource, textOf } from './resource.ts';
import { isSameButForReferences } from './same.ts';
import type { Target } from './target.ts';

/** What an attempt works with. */
export interface Means {
  readonly store: Store;
  readonly target: Target;
  readonly connection: Connection;
  readonly clock: Clock;
  /** Start of our canonical URLs. */
  readonly canonical: string;
}

/** Looks for all of a delivery that was accepted, up to the first that is not there. */
export async function lookForAll(options: Means, way: Way, delivery: Delivery): Promise<Attempted> {
  const taken: Taken[] = [];
  for (const { resource, known } of awaitedResources(options.store, { ...options, way }, delivery)) {
    const looked = await lookFor(options, resource, known);
    if ('verdict' in looked) return { end: endOf(looked.verdict, known), taken };
    if (looked.found === null) return { end: notThere(resource, known), taken };
    taken.push(looked.found);
  }
  return { end: { kind: 'delivered' }, taken };
}

const notThere = ({ name }: Resource, known: Taken): Awaited =>
  awaited('awaited', { why: `accepted, and ${name} is not there` }, known);

const awaited = (kind: Awaited['kind'], outcome: Outcome, { acceptedMs }: Taken): Awaited => ({
  kind,
  outcome,
  acceptedMs: acceptedMs ?? 0,
});

export interface Reviewed {
  /** What the target is known to have, after it was looked for. */
  readonly known: Chosen['known'];
  /** Of these, what is there by now. */
  readonly seen: readonly Taken[];
}

/**
 * Looks for earlier versions that were accepted, so that none of them comes after what is sent now. What is not there
 * when its review is over counts as lost; so does what is sent again because somebody asked for it.
 */
export async function afterReview(
  options: Means,
  way: Way,
  delivery: Delivery,
  { resources, known }: Chosen,
): Promise<Reviewed | Stopped> {
  const after = new Map(known);
  const seen: Taken[] = [];
  for (const resource of resources) {
    const before = known.get(resource.name);
    if (before === undefined || before.acceptedMs === null) continue;
    const looked = await lookForEarlier(options, way, delivery, resource, before);
    if ('kind' in looked) return looked;
    if (looked.found?.acceptedMs === null) seen.push(looked.found);
    if (looked.found !== null) after.set(resource.name, looked.found);
    else if (before.remote === null) after.delete(resource.name);
  }
  return { known: after, seen };
}

/** As it is known by now; null where it counts as lost. */
async function lookForEarlier(
  options: Means,
  way: Way,
  delivery: Delivery,
  resource: Resource,
  known: Taken,
): Promise<{ readonly found: Taken | null } | Stopped> {
  const { store, clock, target } = options;
  if (delivery.redo === 'requeue') return { found: null };
  const earlier = versionOf(store, { ...options, way }, delivery.drain, resource, known.version);
  const looked = await lookFor(options, earlier, known);
  if ('verdict' in looked) {
    const end = endOf(looked.verdict, known);
    // Where nobody may look, the order is the target's own.
    return end.kind === 'unseen' ? { found: known } : (end as Stopped);
  }
  if (looked.found !== null || clock.now() >= (known.acceptedMs ?? 0) + target.reviewMs) return looked;
  const why = `the target has accepted an earlier version of ${resource.name} and does not show it yet`;
  return { kind: 'held', outcome: { why } };
}

/** As it was taken, with what the target calls it; null where it is not there yet. */
async function lookFor(
  { target, connection }: Means,
  resource: Resource,
  known: Taken,
): Promise<Found<Taken | null>> {
  const place = known.remote === null ? await placeOf(connection, resource) : { found: known.remote };
  if ('verdict' in place) return place;
  if (place.found === null) return { found: null };
  const current = await readCurrent(connection, place.found);
  if ('verdict' in current) return current;
  const { found } = current;
  if (found === null || !isSameButForReferences(withWords(resource, target), found.text))
    return { found: null };
  return { found: { ...known, remote: place.found, etag: found.etag, acceptedMs: null } };
}

/**
 * Of what went under our ids in a Bundle with what waited behind it: what is there. Sent again without a look, it would be
 * written after what is newer. One that is not there shows that nothing of the Bundle is.
 */
export async function lookForShared(
  connection: Connection,
  resources: readonly Resource[],
): Promise<readonly Taken[] | Stopped> {
  const there: Taken[] = [];
  for (const { name, version, text } of resources) {
    const current = await readCurrent(connection, name);
    if ('verdict' in current) return stoppedBy(current.verdict) ?? there;
    const { found } = current;
    if (found === null || !isSameButForReferences(textOf(text), found.text)) return there;
    there.push({ resource: name, version, remote: name, etag: found.etag, acceptedMs: null });
  }
  return there;
}

async function placeOf(
  connection: Connection,
  { type, name, text }: Resource,
): Promise<Found<string | null>> {
  const identifier = identifierOf(textOf(text));
  if (identifier === null) return { found: null };
  const search = await findOurs(connection, type, identifier);
  if ('verdict' in search) return search;
  const [remote, ...others] = search.found;
  if (others.length === 0) return { found: remote ?? null };
  const why = `multiple-matches: the target has ${search.found.length} of ${name}; keep one there, then requeue`;
  return { verdict: { kind: 'multiple-matches', outcome: { why } } };
}

function endOf(verdict: Verdict, known: Taken): Stopped | Awaited {
  const stopped = stoppedBy(verdict);
  if (stopped !== null) return stopped;
  const outcome = outcomeIn(verdict);
  const why = `accepted, and cannot be looked for: ${outcome.why}`;
  return awaited('unseen', { ...outcome, why }, known);
}

/**
 * What ends the attempt; null where it cannot be seen. Nothing was written by a look, so that its fate is never open; a
 * target that forbids it may take all the same.
 */
function stoppedBy(verdict: Verdict): Stopped | null {
  switch (verdict.kind) {
    case 'later':
      return verdict;
    case 'unauthorized':
      return { kind: 'unauthorized', outcome: verdict.outcome };
    case 'unknown':
      return { kind: 'later', outcome: verdict.outcome, afterMs: undefined };
    default:
      return null;
  }
}
