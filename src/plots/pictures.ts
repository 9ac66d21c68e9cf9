/** Plots as PNG, drawn in a thread of their own: charting is answered meanwhile as if nobody looked. */
import { Worker } from 'node:worker_threads';
import type { PictureOrder, PictureReply } from './picture-thread.ts';

export interface Pictures {
  /**
   * @param svg without CSS variables, which the renderer does not know
   * @returns PNG, as wide and high as the SVG says
   * @throws {PicturesBusy}
   */
  draw(svg: string): Promise<Uint8Array>;
  close(): Promise<void>;
}

/** As many wait as are drawn in a few seconds: ask again then. */
export class PicturesBusy extends Error {
  readonly retryAfterS = 5;
}

/** Built code, wherever this runs from: a thread cannot run TypeScript on Node 20. */
const THREAD = new URL('../../dist/plots/picture-thread.js', import.meta.url);
const MOST_WAITING = 8;

interface Waiting {
  resolve(png: Uint8Array): void;
  reject(error: Error): void;
}

/** The thread starts when somebody first asks, and again after it ended. */
export function createPictures(): Pictures {
  const waiting = new Map<number, Waiting>();
  let worker: Worker | null = null;
  let lastId = 0;

  function settle({ id, png }: PictureReply): void {
    waiting.get(id)?.resolve(png);
    waiting.delete(id);
  }

  function start(): Worker {
    const started = new Worker(THREAD);
    started.on('message', settle);
    // What it died of is told to whoever waited, when it is gone.
    let cause: unknown;
    started.on('error', (error) => {
      cause = error;
    });
    started.once('exit', () => {
      worker = null;
      for (const each of waiting.values())
        each.reject(new Error('the thread that draws pictures ended', { cause }));
      waiting.clear();
    });
    return started;
  }

  return {
    draw(svg) {
      if (waiting.size >= MOST_WAITING)
        return Promise.reject(new PicturesBusy('too many pictures are asked for'));
      worker ??= start();
      lastId += 1;
      const id = lastId;
      worker.postMessage({ id, svg } satisfies PictureOrder);
      return new Promise((resolve, reject) => {
        waiting.set(id, { resolve, reject });
      });
    },
    async close() {
      await worker?.terminate();
    },
  };
}
