/**
 * How long reads take over HTTP while nobody writes, and while fifty do without pause. The limit is a read of nothing from
 * a server that only validates what is written: all that it waits for is its turn on a core.
 */
import { execFile } from 'node:child_process';
import { fileURLToPath } from 'node:url';
import { promisify } from 'node:util';
import { type Drains, load, placeDrains } from './load.ts';
import { quantile } from './measure.ts';
import { startScript } from './process.ts';

const DRAINS = 200;
const WRITERS = 50;
const READER = fileURLToPath(new URL('reader.js', import.meta.url));
const run = promisify(execFile);

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

/** Paths by what each reads. */
type Paths = Readonly<Record<string, string>>;

export async function readsWhileWriting(database: string, seconds: number): Promise<readonly ReadTimes[]> {
  const limit = await timesOf([], seconds, async () => ({ 'limit: nothing, validation only': '/livez' }));
  return [...limit, ...(await timesOf(['--database', database], seconds, pathsOf))];
}

async function timesOf(
  args: readonly string[],
  seconds: number,
  pathsFor: (url: string, drains: Drains) => Promise<Paths>,
): Promise<ReadTimes[]> {
  const service = await startScript('server.js', args);
  try {
    const { url } = service;
    const drains = await placeDrains(url, `reads-${process.pid}`, DRAINS);
    await load(url, drains, WRITERS, seconds);
    const rows: ReadTimes[] = [];
    for (const [read, path] of Object.entries(await pathsFor(url, drains))) {
      await readsOf(url + path, 2);
      const idle = await readsOf(url + path, seconds);
      // A second more: the reader has to start first.
      const writing = load(url, drains, WRITERS, seconds + 1);
      const busy = await readsOf(url + path, seconds);
      rows.push(rowOf(read, idle, busy, (await writing).perSecond));
    }
    return rows;
  } finally {
    await service.stop();
  }
}

async function pathsOf(url: string, drains: Drains): Promise<Paths> {
  const search = '/fhir/Observation?patient=Patient/bench-0&code=level&_count=100';
  const found = (await (await fetch(url + search)).json()) as {
    readonly entry: readonly { readonly resource: { readonly id: string } }[];
  };
  const drain = `/v1/drains/${drains.ids[0]}`;
  return {
    nothing: '/livez',
    'search for a patient and code': search,
    'the same, each written as an access': `${search}&date=ge{moment}`,
    'Observation by id': `/fhir/Observation/${found.entry[0]?.resource.id}`,
    'state of a drain': `${drain}/state`,
    'chart of a drain': `${drain}/chart`,
    'trends of a drain, a day by hour': `${drain}/trends?bucket=hour`,
  };
}

async function readsOf(url: string, seconds: number): Promise<readonly number[]> {
  const { stdout } = await run(process.execPath, [READER, '--url', url, '--seconds', `${seconds}`]);
  return JSON.parse(stdout) as readonly number[];
}

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
