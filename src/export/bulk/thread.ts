/** The thread that writes one export: charting is answered meanwhile as if there were none. */
import { type MessagePort, parentPort, workerData } from 'node:worker_threads';
import { openReader } from '../../store/sqlite/open.ts';
import type { Output } from './job.ts';
import { type Wanted, writeExport } from './write.ts';

export interface ThreadOptions {
  readonly database: string;
  readonly folder: string;
  readonly wanted: Wanted;
}

/** To the host. Nothing else is told where the host says to stop. */
export type Told =
  | { readonly part: number }
  | { readonly outputs: readonly Output[] }
  /** Code of what went wrong, such as ENOSPC, or its name: a message might quote what was read. */
  | { readonly failed: string };

function run(port: MessagePort, { database, folder, wanted }: ThreadOptions): void {
  const db = openReader(database);
  const steps = writeExport(db, folder, wanted);
  // Closed here and not by the end of the thread, at which the driver has been seen to crash.
  const end = (): void => {
    db.close();
    port.close();
  };
  const tell = (told: Told): void => port.postMessage(told);
  let stopping = false;
  port.on('message', () => {
    stopping = true;
  });

  function step(): void {
    try {
      if (stopping) {
        steps.return([]);
        end();
        return;
      }
      const { done, value } = steps.next();
      if (done === true) {
        tell({ outputs: value });
        end();
        return;
      }
      tell(value);
      // So that a message comes in between two steps.
      setImmediate(step);
    } catch (error) {
      tell({ failed: error instanceof Error && 'code' in error ? String(error.code) : 'Error' });
      end();
    }
  }
  step();
}

if (parentPort !== null) run(parentPort, workerData as ThreadOptions);
