/** `npm run bench`: figures as ratios to limits measured in the same run; printed, and written to bench-results/. */
import { spawn } from 'node:child_process';
import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { costPerEntry } from './cost-per-entry.ts';
import { type Load, load, placeDrains } from './load.ts';

const SECONDS = Number(process.env.BENCH_SECONDS ?? '5');
const DRAINS = 200;
const CONNECTIONS = [1, 10, 50, 200];

interface Running {
  readonly url: string;
  /** Processor time it has used, µs. */
  cpu(): number;
  stop(): Promise<void>;
}

async function server(args: readonly string[]): Promise<Running> {
  const child = spawn(process.execPath, [fileURLToPath(new URL('server.js', import.meta.url)), ...args], {
    stdio: ['ignore', 'pipe', 'inherit'],
  });
  const url = await new Promise<string>((resolve, reject) => {
    child.stdout.once('data', (line: Buffer) => resolve(line.toString().trim()));
    child.once('exit', (code) => reject(new Error(`the server under load ended with ${code}`)));
  });
  return {
    url,
    cpu: () => processorTime(child.pid ?? 0),
    stop: () =>
      new Promise((resolve) => {
        child.removeAllListeners('exit').once('exit', () => resolve());
        child.kill('SIGTERM');
      }),
  };
}

/** User and system time of a process from /proc, which counts in ticks of 10 ms. */
function processorTime(pid: number): number {
  const fields = readFileSync(`/proc/${pid}/stat`, 'utf8').split(') ')[1]?.split(' ') ?? [];
  return (Number(fields[11]) + Number(fields[12])) * 10_000;
}

type Figure = Load & { readonly cpuPerRequest: number };

async function ingest(args: readonly string[]): Promise<Map<number, Figure>> {
  const running = await server(args);
  const figures = new Map<number, Figure>();
  try {
    const drains = await placeDrains(running.url, `run-${process.pid}`, DRAINS);
    await load(running.url, drains, 50, 2);
    for (const connections of CONNECTIONS) {
      const before = running.cpu();
      const figure = await load(running.url, drains, connections, SECONDS);
      figures.set(connections, {
        ...figure,
        cpuPerRequest: (running.cpu() - before) / (figure.perSecond * SECONDS),
      });
    }
  } finally {
    await running.stop();
  }
  return figures;
}

const folder = mkdtempSync(join(tmpdir(), 'drainledger-bench-'));
try {
  const limit = await ingest([]);
  const durable = await ingest(['--database', join(folder, 'bench.db')]);
  const rows = CONNECTIONS.map((connections) => {
    const [a, b] = [limit.get(connections), durable.get(connections)];
    if (a === undefined || b === undefined) throw new Error('a figure is missing');
    return {
      connections,
      'validation only /s': Math.round(a.perSecond),
      'durable /s': Math.round(b.perSecond),
      ratio: Number((b.perSecond / a.perSecond).toFixed(2)),
      'cpu validation µs': Math.round(a.cpuPerRequest),
      'cpu durable µs': Math.round(b.cpuPerRequest),
      'p99 validation ms': a.p99,
      'p99 durable ms': b.p99,
    };
  });
  const cost = await costPerEntry(join(folder, 'cost.db'));
  console.log(
    'Durable ingest with full derivation beside the same route with validation only (target at 50: >= 0.5)',
  );
  console.table(rows);
  console.log('Cost of the next entry of one drain (target: ratio <= 1.3)');
  console.table([cost]);
  mkdirSync('bench-results', { recursive: true });
  writeFileSync(
    'bench-results/latest.json',
    `${JSON.stringify({ node: process.version, ingest: rows, cost }, null, 2)}\n`,
  );
} finally {
  rmSync(folder, { recursive: true, force: true });
}
