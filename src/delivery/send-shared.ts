/**
 * What waits behind one another on a drain, in one transaction, in its order. All of it is done or nothing is, as with what
 * one entry issued. It is tried once: whatever comes of it but success leaves each of them to go alone, so that what is bad,
 * or what may have been done, concerns one of them at a time.
 */
import { outcomeIn } from './connection.ts';
import type { Attempted, End } from './end.ts';
import { nameOf } from './outline.ts';
import type { Resource, Written } from './resource.ts';
import { sendOnce } from './send-bundle.ts';
import type { Went } from './send-one.ts';
import { endOf, inOneBundle, named, type Sending, stops, type Tried, takenIn } from './send-resources.ts';

/**
 * As many as hold so many resources; one alone may hold more. Two versions of a resource never share a Bundle: where
 * identities overlap, a transaction fails (FHIR R4, http.html#trules).
 */
export const bundleUpTo = (mostResources: number) => (): ((issued: readonly Written[]) => boolean) => {
  const names = new Set<string>();
  return (issued) => {
    const added = issued.map(nameOf);
    const isFirst = names.size === 0;
    if (!isFirst && names.size + added.length > mostResources) return false;
    if (added.some((name) => names.has(name))) return false;
    for (const name of added) names.add(name);
    return true;
  };
};

export const apart = (why: string): End => ({ kind: 'apart', outcome: { why } });

/** @param parts resources of each delivery @returns how each ended; how all did where it was not plain success */
export async function sendShared(
  sending: Sending,
  parts: readonly (readonly Resource[])[],
): Promise<readonly Attempted[] | End> {
  const once = withoutRepeats(parts);
  const resources = once.flat();
  if (resources.length === 0) return once.map(() => ({ end: endOf([], []), taken: [] }));
  const now = sending.clock.now();
  const ones = inOneBundle(sending, resources);
  const { verdict, wents } = await sendOnce(sending.connection, 'transaction', ones, now);
  if (wents.every(isDone)) {
    const tried = wents.map((went, i) => named(went, resources[i]));
    return attemptedIn(once, tried, sending.clock.now());
  }
  const stopped = wents.find(stops)?.verdict;
  if (stopped !== undefined) return stopped as End;
  // Refused entries in an answer that says the whole was done: nobody knows.
  const outcome = outcomeIn(wents.find((each) => !isDone(each))?.verdict ?? verdict);
  if (verdict.kind === 'taken') return { kind: 'unknown', outcome };
  return { kind: 'apart', outcome: { ...outcome, why: `each is sent alone after ${outcome.why}` } };
}

const isDone = ({ verdict }: Went): boolean => verdict.kind === 'taken' || verdict.kind === 'accepted';

/** What several of them refer to goes with the first. */
function withoutRepeats(parts: readonly (readonly Resource[])[]): readonly (readonly Resource[])[] {
  const names = new Set<string>();
  return parts.map((part) =>
    part.filter(({ name }) => {
      const isNew = !names.has(name);
      names.add(name);
      return isNew;
    }),
  );
}

function attemptedIn(
  parts: readonly (readonly Resource[])[],
  tried: readonly Tried[],
  nowMs: number,
): readonly Attempted[] {
  let end = 0;
  return parts.map(({ length }) => {
    end += length;
    const mine = tried.slice(end - length, end);
    return { end: endOf(mine, []), taken: mine.flatMap(takenIn(nowMs)) };
  });
}
