/** Sends readings to a service through one door as fast as it takes them, and fails unless it took them all. */
import { spawn } from 'node:child_process';
import { once } from 'node:events';
import { createWriteStream, writeFileSync } from 'node:fs';
import { connect, type Socket } from 'node:net';
import { join } from 'node:path';
import { Readable } from 'node:stream';
import { pipeline } from 'node:stream/promises';
import { fileURLToPath } from 'node:url';
import autocannon from 'autocannon';
import { postLines } from '../cli/import/post-lines.ts';
import { CSV_HEADER, CSV_MAPPING, csvOf, hl7v2Of, lineOf, readingsOf } from './door-messages.ts';

export interface Place {
  readonly url: string;
  readonly mllpPort: number;
  /** For files that are sent. */
  readonly folder: string;
  /** Of drains that are placed. */
  readonly ids: readonly string[];
  /** Readings, spread over the drains. */
  readonly count: number;
}

const CONNECTIONS = 50;
const MAIN = fileURLToPath(new URL('../cli/main.js', import.meta.url));

/** One at a time on each of 50 connections. */
export async function sendJson({ url, ids, count }: Place): Promise<void> {
  const readings = readingsOf(ids, count);
  const result = await autocannon({
    url,
    connections: CONNECTIONS,
    amount: count,
    requests: [
      {
        method: 'POST',
        headers: { 'content-type': 'application/json' },
        setupRequest: (request) => ({ ...request, ...readings.next().value?.message }),
      },
    ],
  });
  if (result['2xx'] !== count) throw new Error(`${result['2xx']} of ${count} readings were taken`);
}

export async function sendLines({ url, ids, count }: Place): Promise<void> {
  const lines = async function* (): AsyncGenerator<string> {
    for (const each of readingsOf(ids, count)) yield lineOf(each);
  };
  let taken = 0;
  for await (const result of postLines(`${url}/v1/entries/lines`, {}, lines()))
    if ('line' in result && result.status === 201) taken += 1;
  if (taken !== count) throw new Error(`${taken} of ${count} lines were taken`);
}

/** By the program that reads the file, as its user would. */
export async function sendCsv({ url, folder, ids, count }: Place): Promise<void> {
  const [file, mapping] = [join(folder, 'readings.csv'), join(folder, 'columns.json')];
  writeFileSync(mapping, JSON.stringify(CSV_MAPPING));
  const rows = function* (): Generator<string> {
    yield CSV_HEADER;
    for (const each of readingsOf(ids, count)) yield csvOf(each);
  };
  await pipeline(Readable.from(rows()), createWriteStream(file));
  const child = spawn(process.execPath, [MAIN, 'import', file, '--mapping', mapping, '--url', url], {
    stdio: ['ignore', 'ignore', 'inherit'],
  });
  const [code] = await once(child, 'exit');
  if (code !== 0) throw new Error(`the import ended with ${code}`);
}

/** One at a time on each of 50 connections, as a sender does that waits for each acknowledgement. */
export async function sendMllp({ mllpPort, ids, count }: Place): Promise<void> {
  const readings = readingsOf(ids, count);
  let taken = 0;
  const sendSome = async (socket: Socket): Promise<void> => {
    await once(socket, 'connect');
    let told = (_text: string): void => undefined;
    let text = '';
    socket.on('data', (data) => {
      text += data.toString('latin1');
      if (!text.endsWith('\x1c\r')) return;
      told(text);
      text = '';
    });
    for (const each of readings) {
      const answered = new Promise<string>((resolve) => {
        told = resolve;
      });
      socket.write(`\v${hl7v2Of(each)}\x1c\r`, 'latin1');
      const answer = await answered;
      if (!answer.includes('\rMSA|AA|')) throw new Error(answer.replaceAll('\r', '\n'));
      taken += 1;
    }
    socket.end();
  };
  await Promise.all(Array.from({ length: CONNECTIONS }, () => sendSome(connect(mllpPort, '127.0.0.1'))));
  if (taken !== count) throw new Error(`${taken} of ${count} messages were taken`);
}
