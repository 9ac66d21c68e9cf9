/** What catching up after an outage of the EHR costs those who chart meanwhile. */
import { setTimeout as pause } from 'node:timers/promises';
import { chartPaced, load, placeDrains } from './load.ts';
import { quantile } from './measure.ts';
import { type Running, startScript } from './process.ts';

const DRAINS = 50;
/** Readings charted a second. */
const RATE = 100;
const WARM_UP_S = 10;
/** Readings of an outage that go to one set of drains. */
const MOST_ON_DRAINS = 25_000;
const BY = {
  author: { type: 'device', identifier: { system: 'urn:example:bench', value: 'bench' } },
  reason: 'bench',
};

interface Status {
  /** Counting stops at 100,000. */
  readonly waiting: number;
  readonly requests: { readonly taken?: number };
}

/** @param readings charted during the outage; an hour at 100 a second would be 360,000 */
export async function recovery(database: string, seconds: number, readings: number): Promise<object> {
  const scripts: Running[] = [];
  const started = async (script: string, args: readonly string[]): Promise<Running> => {
    const running = await startScript(script, args);
    scripts.push(running);
    return running;
  };
  try {
    const ehr = await started('instant-ehr.js', []);
    const { url } = await started('server.js', ['--database', database, '--ehr', ehr.url]);
    const drains = await placeDrains(url, `recovery-${process.pid}`, DRAINS);
    // Until all that is run often is compiled: otherwise what comes later seems the faster for it.
    await load(url, drains, 50, WARM_UP_S);
    while ((await statusOf(url)).waiting > 0) await pause(100);
    const normal = await chartPaced(url, drains, RATE, seconds);
    await ehr.stop();
    await fillBacklog(url, readings);
    // What is charted now makes heap and ledger as large for both.
    const out = await chartPaced(url, drains, RATE, seconds);
    await started('instant-ehr.js', ['--port', new URL(ehr.url).port]);
    await post(`${url}/v1/targets/ehr/resume`);
    const [before, start] = [await statusOf(url), performance.now()];
    const during = await chartPaced(url, drains, RATE, seconds);
    const [after, elapsedMs] = [await statusOf(url), performance.now() - start];
    return {
      'waiting before': before.waiting,
      'waiting after': after.waiting,
      'charted /s': Math.round((during.length * 1000) / elapsedMs),
      // Some five of a drain share one: what waits is not counted to its end.
      'requests /s': Math.round(((taken(after) - taken(before)) * 1000) / elapsedMs),
      ...figuresOf({ normal, out, during }),
    };
  } finally {
    await Promise.all(scripts.map((each) => each.stop()));
  }
}

type Times = Readonly<Record<'normal' | 'out' | 'during', readonly number[]>>;

function figuresOf({ normal, out, during }: Times): object {
  const figures = (fraction: number, name: string) => ({
    [`${name} ms`]: rounded(quantile(normal, fraction)),
    [`${name} ms, before the EHR is back`]: rounded(quantile(out, fraction)),
    [`${name} ms, recovering`]: rounded(quantile(during, fraction)),
  });
  const ratio = rounded(quantile(during, 0.99) / quantile(normal, 0.99));
  return { ...figures(0.5, 'p50'), ...figures(0.99, 'p99'), ratio };
}

/** On drains and patients of their own, so that what is measured is charted on books that stay in memory. */
async function fillBacklog(url: string, readings: number): Promise<void> {
  for (let sent = 0, run = 0; sent < readings; run += 1) {
    const drains = await placeDrains(url, `outage-${process.pid}-${run}`, DRAINS, (run + 1) * DRAINS);
    for (const until = Math.min(readings, sent + MOST_ON_DRAINS); sent < until; )
      sent += Math.round((await load(url, drains, 50, 2)).perSecond * 2);
  }
}

const rounded = (value: number): number => Number(value.toFixed(2));
const taken = ({ requests }: Status): number => requests.taken ?? 0;

async function post(url: string): Promise<void> {
  const response = await fetch(url, {
    method: 'POST',
    headers: { 'content-type': 'application/json' },
    body: JSON.stringify(BY),
  });
  if (!response.ok) throw new Error(`${url}: ${await response.text()}`);
}

async function statusOf(url: string): Promise<Status> {
  const response = await fetch(`${url}/v1/targets`);
  const [ehr] = ((await response.json()) as { targets: readonly Status[] }).targets;
  if (ehr === undefined) throw new Error(`no target is served: HTTP ${response.status}`);
  return ehr;
}
