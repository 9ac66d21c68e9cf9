/**
 * Accesses into the ledger, each durable before its answer leaves. One that differs from one in the ledger in nothing but
 * its time, within the hour, is only counted, and the count is written when the hour is over: so a page that asks again
 * every few seconds costs two entries in that time, and not hundreds.
 */
import { type Access, clientOf, type Repeats, writeAccess } from '../audit/access.ts';
import { type Store, StoreReadOnly } from '../store/port.ts';
import { hashOf } from './names.ts';

export interface Accesses {
  /** Takes those of one answer. Resolves when each is durable, or repeats one that is. @throws as {@link Store.append} */
  note(accesses: readonly Access[]): Promise<void>;
  /** Writes what was only counted until now. */
  close(): Promise<void>;
}

export interface AccessesOptions {
  readonly store: Pick<Store, 'access'>;
  readonly log: { warn(facts: object, message: string): void };
  now(): number;
}

/** How long repeats of an access are only counted. */
export const REPEATS_MS = 60 * 60_000;
const SWEEP_MS = 30_000;
/** So many different ones are remembered; beyond that the oldest is told at once. */
const MOST_REMEMBERED = 5000;

interface Remembered {
  readonly access: Access;
  readonly sinceMs: number;
  readonly written: Promise<void>;
  repeats: Repeats | null;
}

export function createAccesses({ store, log, now }: AccessesOptions): Accesses {
  const remembered = new Map<string, Remembered>();
  const telling = new Set<Promise<void>>();

  async function write(accesses: readonly Access[], repeats: Repeats | null): Promise<void> {
    const [first] = accesses;
    if (first === undefined) return;
    try {
      await store.access(
        clientOf(first),
        accesses.map((each) => writeAccess(each, repeats)),
      );
    } catch (error) {
      if (!(error instanceof StoreReadOnly)) throw error;
      // Whoever has to see a chart in this state may: that the ledger takes nothing is told everywhere already.
      const { client, operation, status } = first;
      log.warn({ client, operation, status }, 'an access could not be recorded: the ledger is only read');
    }
  }

  /** Forgets one, and tells how often it was repeated. */
  function tell(key: string, { access, repeats }: Remembered): void {
    remembered.delete(key);
    if (repeats === null) return;
    const told = write([access], repeats)
      .catch((error: unknown) => {
        const { times } = repeats;
        log.warn({ times, name: error instanceof Error ? error.name : '' }, 'repeats could not be recorded');
      })
      .finally(() => telling.delete(told));
    telling.add(told);
  }

  function sweep(): void {
    // In the order in which they were first noted.
    for (const [key, each] of remembered) {
      if (now() - each.sinceMs < REPEATS_MS && remembered.size <= MOST_REMEMBERED) return;
      tell(key, each);
    }
  }
  const timer = setInterval(sweep, SWEEP_MS).unref();

  async function note(accesses: readonly Access[]): Promise<void> {
    sweep();
    const keyed = accesses.map((access) => ({ access, key: keyOf(access) }));
    const before = keyed.flatMap((noted) => {
      const repeated = remembered.get(noted.key);
      return repeated === undefined ? [] : [{ ...noted, repeated }];
    });
    const fresh = keyed.filter(({ key }) => !remembered.has(key));
    const written = write(
      fresh.map(({ access }) => access),
      null,
    );
    for (const { access, key } of fresh)
      remembered.set(key, { access, sinceMs: now(), written, repeats: null });
    // What could not be written is no access that others could repeat.
    await written.catch((error: unknown) => {
      for (const { key } of fresh) remembered.delete(key);
      throw error;
    });
    for (const { access, key, repeated } of before) {
      await repeated.written;
      // What was told while others were written is forgotten, and counts no further repeat.
      if (remembered.get(key) !== repeated) await note([access]);
      else repeated.repeats = again(repeated.repeats, new Date(now()).toISOString());
    }
  }

  return {
    note,
    async close() {
      clearInterval(timer);
      for (const [key, each] of remembered) tell(key, each);
      await Promise.all(telling);
    },
  };
}

/** The id of its request alone does not make it another. */
const keyOf = (access: Access): string => hashOf(JSON.stringify({ ...access, request_id: null }));

const again = (before: Repeats | null, at: string): Repeats => ({
  times: (before?.times ?? 0) + 1,
  from: before?.from ?? at,
  to: at,
});
