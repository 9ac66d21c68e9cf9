/** Where checkpoints, or heads where nothing is signed, are told outside the database. Each keeps its own pace: one that is down holds up nobody. */

import { writeWhole } from './durable-file.ts';
import { appendToEscrow } from './escrow-file.ts';

export interface Sink {
  /** For people. */
  readonly name: string;
  /** @throws when it is not certain that it was taken */
  take(checkpoint: string): Promise<void>;
}

const HTTP_TIMEOUT_MS = 5000;

export const headSink = (file: string): Sink => ({
  name: `the head file ${file}`,
  take: (head) => writeWhole(file, head),
});

export const fileSink = (file: string, now: () => number): Sink => ({
  name: `the file ${file}`,
  take: (checkpoint) => appendToEscrow(file, checkpoint, new Date(now()).toISOString()),
});

/** POSTs the text; any 2xx means taken. @param token that it shows, asked for each time as it may have been renewed */
export const httpSink = (url: string, token?: () => string): Sink => ({
  name: `the receiver at ${new URL(url).host}`,
  async take(body) {
    const answer = await fetch(url, {
      method: 'POST',
      headers: {
        'content-type': 'text/plain; charset=utf-8',
        ...(token === undefined ? {} : { authorization: `Bearer ${token()}` }),
      },
      body,
      redirect: 'error',
      signal: AbortSignal.timeout(HTTP_TIMEOUT_MS),
    });
    await answer.arrayBuffer();
    if (!answer.ok) throw new Error(`HTTP ${answer.status}`);
  },
});

export interface SinkState {
  readonly name: string;
  /** Since when it has not taken what it was given, ms since the epoch; null while it does. */
  readonly failingSinceMs: number | null;
}

export interface Feed {
  offer(checkpoint: string): void;
  state(): SinkState;
  /** One more try for what was not taken yet, for so long. */
  stop(withinMs: number): Promise<void>;
}

export interface FeedLog {
  warn(facts: object, message: string): void;
  info(facts: object, message: string): void;
}

const FIRST_PAUSE_MS = 1000;
const LONGEST_PAUSE_MS = 60_000;

/** Gives a sink each checkpoint; one that failed gives way to the newest, which covers it. */
export function feed(sink: Sink, log: FeedLog, now: () => number): Feed {
  let next: string | null = null;
  let failingSinceMs: number | null = null;
  let pauseMs = FIRST_PAUSE_MS;
  let pause: NodeJS.Timeout | undefined;
  let busy: Promise<void> | null = null;
  let stopped = false;

  async function give(): Promise<void> {
    try {
      while (next !== null) {
        const checkpoint: string = next;
        next = null;
        try {
          await sink.take(checkpoint);
          succeeded();
        } catch (error) {
          next ??= checkpoint;
          failed(error);
          return;
        }
      }
    } finally {
      // In the turn that saw nothing more to give, so that what is offered next starts anew.
      busy = null;
    }
  }

  function succeeded(): void {
    if (failingSinceMs !== null) log.info({ sink: sink.name }, 'checkpoints are taken again');
    failingSinceMs = null;
    pauseMs = FIRST_PAUSE_MS;
  }

  function failed(error: unknown): void {
    if (failingSinceMs === null) {
      failingSinceMs = now();
      log.warn({ sink: sink.name, error: String(error) }, 'a checkpoint was not taken; it is tried again');
    }
    if (stopped) return;
    pause = setTimeout(start, pauseMs);
    pauseMs = Math.min(2 * pauseMs, LONGEST_PAUSE_MS);
  }

  function start(): void {
    pause = undefined;
    busy ??= Promise.resolve().then(give);
  }

  return {
    offer(checkpoint) {
      next = checkpoint;
      if (pause === undefined) start();
    },
    state: () => ({ name: sink.name, failingSinceMs }),
    async stop(withinMs) {
      stopped = true;
      clearTimeout(pause);
      if (next !== null) start();
      let late: NodeJS.Timeout | undefined;
      const end = new Promise<void>((resolve) => {
        late = setTimeout(resolve, withinMs);
      });
      await Promise.race([busy, end]);
      clearTimeout(late);
    },
  };
}
