/** Runs one export in a thread of its own. */
import { Worker } from 'node:worker_threads';
import type { Output } from './job.ts';
import type { ThreadOptions, Told } from './thread.ts';

/** Built code, wherever this runs from: a thread cannot run TypeScript on Node 20. */
const THREAD = new URL('../../../dist/export/bulk/thread.js', import.meta.url);

export interface Run {
  /** Null where it was stopped. @throws {ExportFailed} */
  readonly ended: Promise<readonly Output[] | null>;
  /** Resolves when the thread is gone. */
  stop(): Promise<void>;
}

/** The message is a code, such as ENOSPC. */
export class ExportFailed extends Error {}

export function runExport(options: ThreadOptions, onPart: (part: number) => void): Run {
  const worker = new Worker(THREAD, { workerData: options });
  const gone = new Promise<void>((resolve) => worker.once('exit', () => resolve()));
  const ended = new Promise<readonly Output[] | null>((resolve, reject) => {
    worker.on('message', (told: Told) => {
      if ('part' in told) onPart(told.part);
      else if ('outputs' in told) resolve(told.outputs);
      else reject(new ExportFailed(told.failed));
    });
    worker.once('error', (error) => reject(new ExportFailed(error.name)));
    void gone.then(() => resolve(null));
  });
  return {
    ended,
    stop() {
      worker.postMessage('stop');
      return gone;
    },
  };
}
