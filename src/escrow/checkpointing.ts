/**
 * Makes checkpoints while the log grows, and tells them to the sinks. What is written between two of
 * them is what a rewritten history could leave out unseen, so their distance is the number that is promised.
 */
import type { KeyObject } from 'node:crypto';
import { signCheckpoint, writeBody } from '../audit/checkpoint.ts';
import type { Store } from '../store/port.ts';
import { type Feed, type FeedLog, feed, type Sink, type SinkState } from './sinks.ts';

const EVERY_MS = 1000;
const EVERY_ENTRIES = 1000;

export interface CheckpointingOptions {
  readonly store: Pick<Store, 'checkpoint' | 'log'>;
  /** Name that checkpoints carry. */
  readonly origin: string;
  /** Without it heads are written and nothing is signed. */
  readonly key: KeyObject | null;
  readonly sinks: readonly Sink[];
  readonly log: FeedLog;
  now(): number;
}

export interface Checkpointing {
  sinks(): readonly SinkState[];
  /** Makes a last one of all there is. */
  stop(): Promise<void>;
}

const MOST_STOPPING_MS = 2000;

export function startCheckpointing(options: CheckpointingOptions): Checkpointing {
  const { store, log, now } = options;
  const feeds: Feed[] = options.sinks.map((sink) => feed(sink, log, now));
  let madeAt = 0;
  let under: Promise<void> | null = null;
  let timer: NodeJS.Timeout | undefined;
  let failing = false;

  async function make(): Promise<void> {
    if (store.log.size() === 0) return;
    const { size, text } = await newest(options);
    madeAt = size;
    for (const each of feeds) each.offer(text);
  }

  /** One at a time; what grows meanwhile is seen when it ends. */
  function run(): void {
    clearTimeout(timer);
    timer = undefined;
    under ??= make()
      .then(
        () => {
          failing = false;
        },
        (error: unknown) => {
          if (!failing) log.warn({ error: String(error) }, 'no checkpoint could be made; it is tried again');
          failing = true;
        },
      )
      .finally(() => {
        under = null;
        grown(store.log.size());
      });
  }

  function grown(size: number): void {
    if (size <= madeAt || under !== null) return;
    if (size - madeAt >= EVERY_ENTRIES && !failing) run();
    else timer ??= setTimeout(run, EVERY_MS);
  }

  const unwatch = store.log.watch(grown);
  run();
  return {
    sinks: () => feeds.map((each) => each.state()),
    async stop() {
      unwatch();
      await under;
      clearTimeout(timer);
      if (store.log.size() > madeAt)
        await make().catch((error: unknown) => log.warn({ error: String(error) }, 'no last checkpoint'));
      await Promise.all(feeds.map((each) => each.stop(MOST_STOPPING_MS)));
    },
  };
}

/** Of all that is durable: signed and kept, or the bare head where there is no key. */
async function newest({ store, key, origin }: CheckpointingOptions): Promise<{ size: number; text: string }> {
  if (key === null) {
    const size = store.log.size();
    return { size, text: writeBody({ origin, size, root: store.log.rootAt(size) }) };
  }
  let size = store.log.size();
  const made = await store.checkpoint((head) => {
    size = head.size;
    return signCheckpoint({ origin, ...head }, key);
  });
  const text = made ?? store.log.newestCheckpoint();
  if (text === undefined) throw new Error('a checkpoint that was kept is gone');
  return { size, text };
}
