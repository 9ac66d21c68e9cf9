/** The thread that owns the index: it follows the ledger, and answers one question after another. */
import { type MessagePort, parentPort, workerData } from 'node:worker_threads';
import { Refused } from '../fhir/search/refused.ts';
import type { ResourceType } from '../fhir/search/resource-type.ts';
import { RESOURCE_TYPES } from '../fhir/search/resource-types.ts';
import { type Held, type HeldOptions, indexFileOf, isDamage, openHeld } from './held.ts';
import { typeHistory } from './history.ts';
import { lastn } from './lastn.ts';
import { needed } from './needed.ts';
import type { Answer, Ask, Told } from './port.ts';
import { read } from './read.ts';
import { removeIndex } from './schema.ts';
import { search } from './search.ts';
import { stats } from './stats.ts';

export interface ThreadOptions extends HeldOptions {
  /** One number, shared with the host: of questions that it has sent and that were not taken yet. */
  readonly asked: Int32Array<SharedArrayBuffer>;
}

/** From the host. */
export type Order = { readonly id: number; readonly ask: Ask } | 'close';
/** To the host; `behind` where the index could not be brought up to the ledger in time. */
export type Reply = { readonly id: number } & ({ readonly answer: Answer } | { readonly behind: number });

/**
 * Entries in a batch: large ones are cheaper where there is much to take in. A batch ends as soon as somebody asks; where
 * the index is far behind, after a small one, so that it comes nearer whoever asks.
 */
const SMALL = 20;
const LARGE = 300;
/** It looks for what is new so often; more often while somebody wrote of late, so that a question has little to wait for. */
const FOLLOW_MS = 200;
const SHORT_MS = 20;
const BUSY_MS = 1000;
const MOST_CATCH_UP_MS = 3000;

const ANSWERS: Readonly<Record<Ask['kind'], (held: Held, type: ResourceType, ask: Ask) => Told>> = {
  search,
  read,
  history: typeHistory,
  lastn,
  stats,
};

function run(port: MessagePort, { asked, ...options }: ThreadOptions): void {
  const held = openHeld(options);
  /** Whether a question waits: messages are only seen when a batch is over. */
  const isAsked = (): boolean => Atomics.load(asked, 0) > 0;
  let timer = setTimeout(follow, 0);
  let seen = 0;
  let grewAt = -BUSY_MS;

  function follow(): void {
    const target = held.follower.target();
    const behind = target - held.follower.reached();
    const start = performance.now();
    const [most, least] = behind > LARGE ? [LARGE, SMALL] : [SMALL, 1];
    guarded(() => held.follower.step(most, least, isAsked));
    if (target > seen) grewAt = start;
    // It rests only once it is level: where it rested while others wrote, it fell behind a steady load for good, and no
    // search came in time. A timer even without rest: questions come in between batches.
    const isBehind = held.follower.reached() < held.follower.target();
    timer = setTimeout(follow, isBehind ? 0 : start - grewAt < BUSY_MS ? SHORT_MS : FOLLOW_MS);
    seen = target;
  }

  function guarded<T>(work: () => T): T {
    try {
      return work();
    } catch (error) {
      if (isDamage(error)) {
        held.close();
        removeIndex(indexFileOf(options.database));
      }
      throw error;
    }
  }

  port.on('message', (order: Order) => {
    if (order !== 'close') {
      Atomics.sub(asked, 0, 1);
      port.postMessage(guarded(() => ({ id: order.id, ...replyTo(held, order.ask) })) satisfies Reply);
      return;
    }
    clearTimeout(timer);
    // Closed here and not by the end of the thread, at which the driver has been seen to crash.
    held.close();
    port.close();
  });
}

function replyTo(held: Held, ask: Ask): { readonly answer: Answer } | { readonly behind: number } {
  const { follower } = held;
  const type = RESOURCE_TYPES.find((each) => each.type === ask.type);
  // Of what was committed before the question; what comes while it waits is another one's.
  const target = unlessRefused(() => (type === undefined ? 0 : needed(held, type, ask)));
  if (typeof target !== 'number') return { answer: target };
  const deadline = Date.now() + MOST_CATCH_UP_MS;
  while (follower.reached() < target) {
    if (Date.now() > deadline) return { behind: target - follower.reached() };
    follower.step(Math.min(LARGE, target - follower.reached()));
  }
  return {
    answer: unlessRefused(() => {
      if (type === undefined) throw new Refused(404, 'not-found', `${ask.type} is not held here`);
      return ANSWERS[ask.kind](held, type, ask);
    }),
  };
}

function unlessRefused<T>(work: () => T): T | Exclude<Answer, Told> {
  try {
    return work();
  } catch (error) {
    if (!(error instanceof Refused)) throw error;
    return { status: error.status, code: error.code, diagnostics: error.message };
  }
}

if (parentPort !== null) run(parentPort, workerData as ThreadOptions);
