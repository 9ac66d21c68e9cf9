/**
 * The same readings through each door, into a ledger of its own: readings a second beside those of the JSON route at 50
 * connections, and what memory the service holds at the start, in the middle and at the end.
 */
import { once } from 'node:events';
import { rmSync, writeFileSync } from 'node:fs';
import { createServer } from 'node:net';
import { join } from 'node:path';
import { HL7V2_MAPPING, READINGS_OF_A_DRAIN, RUN } from './door-messages.ts';
import { type Place, sendCsv, sendJson, sendLines, sendMllp } from './door-senders.ts';
import { placeDrains } from './load.ts';
import { median } from './measure.ts';
import { type Running, startScript } from './process.ts';

const SAMPLE_MS = 50;

export interface DoorRate {
  readonly door: string;
  readonly '/s': number;
  /** To the JSON route; the machine beside it is the same, the sender is not. */
  readonly ratio: number;
  /** Processor time of the service. */
  readonly 'cpu µs': number;
  readonly 'cpu ratio': number;
  /** Memory of the service: medians of the first, middle and last tenth of the time. */
  readonly 'MB at start': number;
  readonly 'MB in the middle': number;
  readonly 'MB at the end': number;
  /** The end to the middle. */
  readonly 'MB ratio': number;
}

/** @param count readings through each door; 100,000 is the full size */
export async function doorRates(folder: string, count: number): Promise<readonly DoorRate[]> {
  const json = await measured('JSON', sendJson, folder, count);
  const others = [
    await measured('lines', sendLines, folder, count),
    await measured('CSV by the command line', sendCsv, folder, count),
    await measured('HL7 v2 over MLLP', sendMllp, folder, count),
  ];
  return [json, ...others].map((each) => ({
    ...each,
    ratio: Number((each['/s'] / json['/s']).toFixed(2)),
    'cpu ratio': Number((json['cpu µs'] / each['cpu µs']).toFixed(2)),
  }));
}

type Measured = Omit<DoorRate, 'ratio' | 'cpu ratio'>;

async function measured(
  door: string,
  send: (place: Place) => Promise<void>,
  folder: string,
  count: number,
): Promise<Measured> {
  const mllpPort = await freePort();
  const running = await startScript('server.js', serverOptions(folder, mllpPort));
  try {
    const { ids } = await placeDrains(running.url, RUN, Math.ceil(count / READINGS_OF_A_DRAIN));
    const memory = sampled(running);
    const [cpu, start] = [running.cpu(), performance.now()];
    await send({ url: running.url, mllpPort, folder, ids, count });
    const elapsedS = (performance.now() - start) / 1000;
    const cpuUs = running.cpu() - cpu;
    const megabytes = memory.stop();
    await assertAllTaken(running.url, ids, count);
    const part = (from: number): number =>
      Math.round(
        median(megabytes.slice(Math.floor(from * megabytes.length)).slice(0, megabytes.length / 10 + 1)),
      );
    const [middle, end] = [part(0.45), part(0.9)];
    return {
      door,
      '/s': Math.round(count / elapsedS),
      'cpu µs': Math.round(cpuUs / count),
      'MB at start': part(0),
      'MB in the middle': middle,
      'MB at the end': end,
      'MB ratio': Number((end / middle).toFixed(2)),
    };
  } finally {
    await running.stop();
    for (const end of ['', '-wal', '-shm', '.kept']) rmSync(join(folder, `door.db${end}`), { force: true });
  }
}

function serverOptions(folder: string, port: number): readonly string[] {
  const written = (name: string, content: object): string => {
    const file = join(folder, name);
    writeFileSync(file, JSON.stringify(content));
    return file;
  };
  const listener = { port, client: 'bench', scope: 'system/Observation.cu', peers: ['127.0.0.1'] };
  return [
    ...['--database', join(folder, 'door.db')],
    ...['--hl7v2', written('hl7v2.json', HL7V2_MAPPING)],
    ...['--mllp', written('mllp.json', listener)],
  ];
}

async function freePort(): Promise<number> {
  const server = createServer().listen(0, '127.0.0.1');
  await once(server, 'listening');
  const { port } = server.address() as { port: number };
  server.close();
  await once(server, 'close');
  return port;
}

/** Resident memory from now on, MB. */
function sampled(running: Running): { stop(): readonly number[] } {
  const megabytes = [running.residentMb()];
  const timer = setInterval(() => megabytes.push(running.residentMb()), SAMPLE_MS);
  return {
    stop() {
      clearInterval(timer);
      return megabytes;
    },
  };
}

/** A door that took less than all would seem quick. */
async function assertAllTaken(url: string, ids: readonly string[], count: number): Promise<void> {
  const last = ids[(count - 1) % ids.length] ?? '';
  const entries = (await (await fetch(`${url}/v1/drains/${last}/entries`)).json()) as {
    readonly entries: readonly object[];
  };
  // Beside the readings, where it was placed and its unit was set up.
  const wanted = Math.ceil(count / ids.length) + 2;
  if (entries.entries.length !== wanted)
    throw new Error(
      `a drain has ${entries.entries.length} entries of ${wanted}; the figures would mean nothing`,
    );
}
