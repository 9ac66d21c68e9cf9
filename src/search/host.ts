/** Starts the index's thread, starts it again when it ends, and carries questions to it. */
import { Worker } from 'node:worker_threads';
import type { HeldOptions } from './held.ts';
import { type Answer, type Ask, type SearchIndex, SearchUnavailable } from './port.ts';
import type { Order, Reply, ThreadOptions } from './thread.ts';

export interface SearchLog {
  error(facts: object, message: string): void;
}

/** Built code, wherever this runs from: a thread cannot run TypeScript on Node 20. */
const THREAD = new URL('../../dist/search/thread.js', import.meta.url);
const MOST_WAITING = 500;
const FIRST_PAUSE_MS = 100;
const LONGEST_PAUSE_MS = 5000;
const MOST_CLOSING_MS = 5000;

interface Waiting {
  resolve(answer: Answer): void;
  reject(error: Error): void;
}

export function startSearchIndex(options: HeldOptions & { readonly log: SearchLog }): SearchIndex {
  const { log, database, zone, canonical } = options;
  const waiting = new Map<number, Waiting>();
  const asked = new Int32Array(new SharedArrayBuffer(Int32Array.BYTES_PER_ELEMENT));
  let worker: Worker | null = null;
  let closing = false;
  let lastId = 0;
  let pauseMs = FIRST_PAUSE_MS;
  let restart: NodeJS.Timeout | undefined;

  function start(): void {
    Atomics.store(asked, 0, 0);
    const workerData: ThreadOptions = { database, zone, canonical, asked };
    const started = new Worker(THREAD, { workerData });
    worker = started;
    started.on('message', (reply: Reply) => {
      pauseMs = FIRST_PAUSE_MS;
      settle(reply);
    });
    started.on('error', (error) => {
      // Without the message, which may quote what was asked.
      const frames = error.stack?.split('\n').filter((line) => line.startsWith('    at '));
      log.error({ name: error.name, frames }, 'the search index stopped; it is started again');
    });
    started.on('exit', () => {
      worker = null;
      for (const each of waiting.values())
        each.reject(new SearchUnavailable('the search index was started again'));
      waiting.clear();
      if (closing) return;
      restart = setTimeout(start, pauseMs);
      pauseMs = Math.min(2 * pauseMs, LONGEST_PAUSE_MS);
    });
  }

  function settle(reply: Reply): void {
    const asked = waiting.get(reply.id);
    waiting.delete(reply.id);
    if ('answer' in reply) asked?.resolve(reply.answer);
    else asked?.reject(new SearchUnavailable(`the search index has ${reply.behind} issues to take in`));
  }

  start();
  return {
    ask(ask: Ask) {
      if (worker === null || waiting.size >= MOST_WAITING)
        return Promise.reject(new SearchUnavailable('the search index cannot take a question now'));
      lastId += 1;
      const id = lastId;
      Atomics.add(asked, 0, 1);
      worker.postMessage({ id, ask } satisfies Order);
      return new Promise((resolve, reject) => {
        waiting.set(id, { resolve, reject });
      });
    },
    async close() {
      closing = true;
      clearTimeout(restart);
      const ending = worker;
      if (ending === null) return;
      const ended = new Promise((resolve) => ending.once('exit', resolve));
      ending.postMessage('close' satisfies Order);
      const impatient = setTimeout(() => void ending.terminate(), MOST_CLOSING_MS);
      await ended;
      clearTimeout(impatient);
    },
  };
}
