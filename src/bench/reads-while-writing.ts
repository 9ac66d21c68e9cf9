/** How long a search takes over HTTP while nobody writes, and while fifty do. */
import { setTimeout as pause } from 'node:timers/promises';
import { load, placeDrains } from './load.ts';
import { quantile } from './measure.ts';
import { startScript } from './process.ts';

const DRAINS = 200;
const WRITERS = 50;
const READS_A_SECOND = 20;

export interface ReadTimes {
  readonly 'p99 ms': number;
  readonly 'p99 ms, 50 writing': number;
  readonly ratio: number;
  /** Written meanwhile. */
  readonly 'entries /s': number;
}

export async function readsWhileWriting(database: string, seconds: number): Promise<ReadTimes> {
  const service = await startScript('server.js', ['--database', database]);
  try {
    const drains = await placeDrains(service.url, `reads-${process.pid}`, DRAINS);
    await load(service.url, drains, WRITERS, seconds);
    const url = `${service.url}/fhir/Observation?patient=Patient/bench-0&code=level&_count=100`;
    await timesOf(url, 2);
    const idle = await timesOf(url, seconds);
    const writing = load(service.url, drains, WRITERS, seconds);
    const busy = await timesOf(url, seconds);
    return {
      'p99 ms': round(idle),
      'p99 ms, 50 writing': round(busy),
      ratio: round(busy / idle),
      'entries /s': Math.round((await writing).perSecond),
    };
  } finally {
    await service.stop();
  }
}

/** At a steady rate, each from when it was due: what waits behind a slow one is counted too. @returns the p99, ms */
async function timesOf(url: string, seconds: number): Promise<number> {
  const start = performance.now();
  const times = Array.from({ length: seconds * READS_A_SECOND }, async (_, n) => {
    const due = start + (n * 1000) / READS_A_SECOND;
    await pause(due - performance.now());
    const answer = await fetch(url);
    await answer.text();
    if (!answer.ok) throw new Error(`${url}: ${answer.status}`);
    return performance.now() - due;
  });
  return quantile(await Promise.all(times), 0.99);
}

const round = (value: number): number => Number(value.toFixed(2));
