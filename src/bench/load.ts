/** Drives a server with so many connections for so long; every answer must be the expected one. */
import { setTimeout as pause } from 'node:timers/promises';
import autocannon from 'autocannon';
import { type Message, placement, reading, setUp } from './messages.ts';

export interface Load {
  readonly perSecond: number;
  readonly p50: number;
  readonly p99: number;
}

export interface Drains {
  readonly run: string;
  readonly ids: readonly string[];
  readonly next: number[];
}

async function post(url: string, { path, body }: Message): Promise<{ drain: string }> {
  const response = await fetch(url + path, {
    method: 'POST',
    headers: { 'content-type': 'application/json' },
    body,
  });
  if (response.status !== 201) throw new Error(`${path}: ${response.status} ${await response.text()}`);
  return (await response.json()) as { drain: string };
}

/** @param first number of the first, and of its patient: drains of one number have one patient, whatever their run */
export async function placeDrains(url: string, run: string, count: number, first = 0): Promise<Drains> {
  const ids: string[] = [];
  for (let drain = first; drain < first + count; drain += 1) {
    const { drain: id } = await post(url, placement(run, drain));
    await post(url, setUp(run, drain, id));
    ids.push(id);
  }
  return { run, ids, next: ids.map(() => 1) };
}

/** The next message of the drain whose turn it is. */
function nextMessage(drains: Drains, turn: number): Message {
  const drain = turn % drains.ids.length;
  const n = drains.next[drain] ?? 1;
  drains.next[drain] = n + 1;
  return reading(drains.run, drain, drains.ids[drain] ?? '', n);
}

/**
 * Does something so many times a second, evenly, whether what came before has ended or not. What waits behind a slow one
 * is counted too: each is timed from when it was due. @returns ms
 */
export function paced(
  perSecond: number,
  seconds: number,
  act: (n: number) => Promise<unknown>,
): Promise<readonly number[]> {
  const start = performance.now();
  const times = Array.from({ length: seconds * perSecond }, async (_, n) => {
    const due = start + (n * 1000) / perSecond;
    await pause(due - performance.now());
    await act(n);
    return performance.now() - due;
  });
  return Promise.all(times);
}

/** Charts readings at a pace that does not depend on how fast they are answered. @returns how long each took, ms */
export function chartPaced(
  url: string,
  drains: Drains,
  perSecond: number,
  seconds: number,
): Promise<readonly number[]> {
  return paced(perSecond, seconds, (n) => post(url, nextMessage(drains, n)));
}

/** As many as go through. */
export async function load(url: string, drains: Drains, connections: number, seconds: number): Promise<Load> {
  let turn = 0;
  const result = await autocannon({
    url,
    connections,
    duration: seconds,
    requests: [
      {
        method: 'POST',
        headers: { 'content-type': 'application/json' },
        setupRequest: (request) => {
          turn += 1;
          return { ...request, ...nextMessage(drains, turn) };
        },
      },
    ],
  });
  if (result.non2xx > 0 || result.errors > 0) {
    throw new Error(
      `${result.non2xx} answers were not 2xx and ${result.errors} failed; the figures would mean nothing`,
    );
  }
  return { perSecond: result.requests.average, p50: result.latency.p50, p99: result.latency.p99 };
}
