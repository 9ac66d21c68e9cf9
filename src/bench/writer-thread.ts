/** The other place for the writer, kept here to be measured beside the main thread: derivation and store in a worker. */
import { isMainThread, parentPort, Worker, workerData } from 'node:worker_threads';
import { readBody, writeBody } from '../audit/entry-text.ts';
import type { Incoming } from '../record/incoming.ts';
import { createRecord, type Record } from '../record/record.ts';
import type { AppendOutcome } from '../store/port.ts';
import { openBenchStore } from './store.ts';

interface Job {
  readonly id: number;
  /** Bodies cross as text: a structured clone would lose the digits' class. */
  readonly unit: readonly {
    readonly drain: string | null;
    readonly body: string;
    readonly request: string;
  }[];
}

interface Done {
  readonly id: number;
  readonly outcomes: readonly AppendOutcome[];
}

/** Sends what has gathered by the end of the turn as one message. */
function gathered<T>(send: (batch: readonly T[]) => void): (item: T) => void {
  let batch: T[] = [];
  return (item) => {
    if (batch.push(item) > 1) return;
    setImmediate(() => {
      const full = batch;
      batch = [];
      send(full);
    });
  };
}

/** A record whose work is done by a worker thread that owns the database. */
export function recordInWorker(database: string): Record {
  const worker = new Worker(new URL(import.meta.url), { workerData: database });
  const waiting = new Map<number, (outcomes: readonly AppendOutcome[]) => void>();
  const post = gathered<Job>((batch) => worker.postMessage(batch));
  let last = 0;
  worker.on('message', (batch: readonly Done[]) => {
    for (const { id, outcomes } of batch) {
      waiting.get(id)?.(outcomes);
      waiting.delete(id);
    }
  });
  return (unit) =>
    new Promise((resolve) => {
      last += 1;
      waiting.set(last, resolve);
      post({
        id: last,
        unit: unit.map(({ drain, body, request }) => ({ drain, request, body: writeBody(body) })),
      });
    });
}

function work(database: string): void {
  const { record } = openBenchStore(database, createRecord);
  const answer = gathered<Done>((batch) => parentPort?.postMessage(batch));
  parentPort?.on('message', (batch: readonly Job[]) => {
    for (const { id, unit } of batch) {
      const incoming: Incoming[] = unit.map(({ drain, body, request }) => ({
        drain,
        request,
        body: readBody(body),
      }));
      record(incoming).then((outcomes) => answer({ id, outcomes }));
    }
  });
}

if (!isMainThread) work(workerData as string);
