/** What it costs a read to be on disk as an access before its answer leaves: reads that are new, beside reads that repeat. */
import autocannon from 'autocannon';
import { placeDrains } from './load.ts';
import { startScript } from './process.ts';

const CONNECTIONS = [1, 10, 50];
const START_MS = Date.UTC(2026, 0, 1);

export interface AccessCost {
  readonly connections: number;
  readonly 'repeated /s': number;
  readonly 'new /s': number;
  /** Reads that are written, as a share of those that are only counted. */
  readonly ratio: number;
  readonly 'new p99 ms': number;
}

export async function accessCost(database: string, seconds: number): Promise<readonly AccessCost[]> {
  const running = await startScript('server.js', ['--database', database]);
  try {
    const { ids } = await placeDrains(running.url, `access-${process.pid}`, 1);
    const state = `/v1/drains/${ids[0]}/state`;
    let n = 0;
    const rows: AccessCost[] = [];
    for (const connections of CONNECTIONS) {
      const ask = (pathOf: () => string) => read(running.url, pathOf, connections, seconds);
      const repeated = await ask(() => state);
      const fresh = await ask(() => {
        n += 1;
        return `${state}?as_of=${new Date(START_MS + 1000 * n).toISOString()}`;
      });
      rows.push({
        connections,
        'repeated /s': Math.round(repeated.requests.average),
        'new /s': Math.round(fresh.requests.average),
        ratio: Number((fresh.requests.average / repeated.requests.average).toFixed(2)),
        'new p99 ms': fresh.latency.p99,
      });
    }
    return rows;
  } finally {
    await running.stop();
  }
}

async function read(url: string, pathOf: () => string, connections: number, seconds: number) {
  const result = await autocannon({
    url,
    connections,
    duration: seconds,
    requests: [{ setupRequest: (request) => ({ ...request, method: 'GET', path: pathOf() }) }],
  });
  if (result.non2xx > 0 || result.errors > 0)
    throw new Error(`${result.non2xx} reads were refused, ${result.errors} failed`);
  return result;
}
