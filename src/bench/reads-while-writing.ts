/** How long reads take over HTTP while nobody writes, and while fifty do. */
import { type Drains, load, paced, placeDrains } from './load.ts';
import { quantile } from './measure.ts';
import { startScript } from './process.ts';

const DRAINS = 200;
const WRITERS = 50;
const READS_A_SECOND = 20;
const START_MS = Date.UTC(2026, 0, 1);

export interface ReadTimes {
  readonly read: string;
  readonly 'p50 ms': number;
  readonly 'p50 ratio': number;
  readonly 'p99 ms': number;
  readonly 'p99 ms, 50 writing': number;
  readonly ratio: number;
  /** Written meanwhile. */
  readonly 'entries /s': number;
}

/** The path of the nth read: where all are the same, their accesses are only counted. */
type PathOf = (n: number) => string;

export async function readsWhileWriting(database: string, seconds: number): Promise<readonly ReadTimes[]> {
  const service = await startScript('server.js', ['--database', database]);
  try {
    const drains = await placeDrains(service.url, `reads-${process.pid}`, DRAINS);
    await load(service.url, drains, WRITERS, seconds);
    const rows: ReadTimes[] = [];
    for (const [read, pathOf] of Object.entries(await readsOf(service.url, drains))) {
      const urlOf = (n: number) => service.url + pathOf(n);
      await timesOf(urlOf, 2);
      const idle = await timesOf(urlOf, seconds);
      const writing = load(service.url, drains, WRITERS, seconds);
      const busy = await timesOf(urlOf, seconds);
      rows.push(rowOf(read, idle, busy, (await writing).perSecond));
    }
    return rows;
  } finally {
    await service.stop();
  }
}

async function readsOf(url: string, drains: Drains): Promise<Readonly<Record<string, PathOf>>> {
  const search = '/fhir/Observation?patient=Patient/bench-0&code=level&_count=100';
  const found = (await (await fetch(url + search)).json()) as {
    readonly entry: readonly { readonly resource: { readonly id: string } }[];
  };
  const drain = `/v1/drains/${drains.ids[0]}`;
  let asked = 0;
  return {
    'search for a patient and code': () => search,
    'the same, each written as an access': () => {
      asked += 1;
      return `${search}&date=ge${new Date(START_MS + asked).toISOString()}`;
    },
    'Observation by id': () => `/fhir/Observation/${found.entry[0]?.resource.id}`,
    'state of a drain': () => `${drain}/state`,
    'chart of a drain': () => `${drain}/chart`,
    'trends of a drain, a day by hour': () => `${drain}/trends?bucket=hour`,
  };
}

const timesOf = (urlOf: PathOf, seconds: number): Promise<readonly number[]> =>
  paced(READS_A_SECOND, seconds, async (n) => {
    const url = urlOf(n);
    const answer = await fetch(url);
    await answer.text();
    if (!answer.ok) throw new Error(`${url}: ${answer.status}`);
  });

function rowOf(read: string, idle: readonly number[], busy: readonly number[], perSecond: number): ReadTimes {
  const [p50, p99] = [quantile(idle, 0.5), quantile(idle, 0.99)];
  return {
    read,
    'p50 ms': round(p50),
    'p50 ratio': round(quantile(busy, 0.5) / p50),
    'p99 ms': round(p99),
    'p99 ms, 50 writing': round(quantile(busy, 0.99)),
    ratio: round(quantile(busy, 0.99) / p99),
    'entries /s': Math.round(perSecond),
  };
}

const round = (value: number): number => Number(value.toFixed(2));
