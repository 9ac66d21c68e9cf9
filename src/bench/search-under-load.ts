/**
 * Whether searches keep up with fifty who write without end. They are of all patients, so each waits for all that was
 * charted before it: an index that falls behind takes longer and longer, and refuses in the end.
 */
import { load, paced, placeDrains } from './load.ts';
import { quantile } from './measure.ts';
import { startScript } from './process.ts';

const DRAINS = 200;
const WRITERS = 50;
const SEARCHES_A_SECOND = 2;

export interface KeepingUp {
  readonly 'entries /s': number;
  readonly 'middle third p50 ms': number;
  readonly 'last third p50 ms': number;
  readonly ratio: number;
  readonly refused: number;
}

/** @param seconds of writing */
export async function searchesUnderLoad(database: string, seconds: number): Promise<KeepingUp> {
  const service = await startScript('server.js', ['--database', database]);
  try {
    const drains = await placeDrains(service.url, `keep-${process.pid}`, DRAINS);
    const writing = load(service.url, drains, WRITERS, seconds);
    let refused = 0;
    const times = await paced(SEARCHES_A_SECOND, seconds, async () => {
      const answer = await fetch(`${service.url}/fhir/Observation?code=level&_count=10`);
      await answer.text();
      if (!answer.ok) refused += 1;
    });
    const third = Math.floor(times.length / 3);
    const middle = quantile(times.slice(third, -third), 0.5);
    const last = quantile(times.slice(-third), 0.5);
    return {
      'entries /s': Math.round((await writing).perSecond),
      'middle third p50 ms': Math.round(middle),
      'last third p50 ms': Math.round(last),
      ratio: Number((last / middle).toFixed(2)),
      refused,
    };
  } finally {
    await service.stop();
  }
}
