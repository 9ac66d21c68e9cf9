/** Entries as lines: each with its result, whatever happens on the way. */
import { connect } from 'node:net';
import Fastify from 'fastify';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { cutSlowRequests } from '../../src/http/slow-requests.ts';
import { until } from '../support/until.ts';
import { byDevice } from './device-ward.ts';
import { id, level, placement, setUp } from './messages.ts';
import { startTestService, type TestService } from './service.ts';

let service: TestService;
beforeEach(async () => {
  service = await startTestService();
});
afterEach(() => service.stop());

const DRAIN = { drain: id('placed') };
const PLACED = { kind: 'placed', ...placement('placed') };
const UP = { ...DRAIN, ...setUp('up', '08:00', 0) };
const minute = (n: number): string =>
  new Date(Date.UTC(2025, 2, 1, 9) + n * 60_000).toISOString().replace('.000Z', 'Z');
const readings = (n: number) =>
  Array.from({ length: n }, (_, i) => ({ ...DRAIN, ...level(`r${i}`, minute(i), i) }));

const asLines = (items: readonly (object | string)[]): string =>
  items.map((item) => `${typeof item === 'string' ? item : JSON.stringify(item)}\n`).join('');

async function send(items: readonly (object | string)[], query = '') {
  const { status, text } = await service.send('POST', `/v1/entries/lines${query}`, asLines(items), {
    'content-type': 'application/x-ndjson',
  });
  const results = text
    .trim()
    .split('\n')
    .map((line) => JSON.parse(line));
  return { status, results };
}

test('a result for each, in order, and a count at the end', async () => {
  const two = {
    together: [
      { ...DRAIN, ...level('a', '10:00', 10) },
      { ...DRAIN, ...level('b', '11:00', 20) },
    ],
  };
  const { status, results } = await send([
    PLACED,
    UP,
    ...readings(3),
    '',
    { ...DRAIN, ...level('bad', '09:30', -1) },
    '{"kind":',
    { drain: id('nowhere'), ...level('lost', '09:30', 1) },
    level('nobody', '09:30', 1),
    two,
    UP,
  ]);
  expect(status).toBe(200);
  const statuses = results.slice(0, -1).map(({ line, status: each }) => [line, each]);
  expect(statuses).toEqual([
    [1, 201],
    [2, 201],
    [3, 201],
    [4, 201],
    [5, 201],
    [7, 422],
    [8, 400],
    [9, 404],
    [10, 422],
    [11, 201],
    [12, 200],
  ]);
  expect(results.at(-1)).toEqual({ lines: 11, recorded: 6, unmatched: 0, repeated: 1, refused: 4 });
  expect(results[5].problem.errors[0]).toMatchObject({ pointer: '/level_ml', value: '-1' });
  expect(results[8].problem.errors[0]).toMatchObject({
    pointer: '/drain',
    mend: 'send its id, the identifier of its placement, or a device in its place',
  });
});

test('what names a device that is on no drain is kept, and counted as that: it is neither charted nor a repetition', async () => {
  const ofDevice = byDevice('d', '10:00', 10);
  const { results } = await send([PLACED, ofDevice, ofDevice]);
  expect(results).toEqual([
    { line: 1, status: 201 },
    { line: 2, status: 202 },
    { line: 3, status: 200 },
    { lines: 3, recorded: 1, unmatched: 1, repeated: 1, refused: 0 },
  ]);
  expect(JSON.parse((await service.send('GET', '/v1/unmatched')).text).count).toBe(1);
});

test('receipts on demand are those of the other routes', async () => {
  const { results } = await send([PLACED, UP, ...readings(1)], '?results=full');
  const { drain } = results[0].result;
  const again = await service.send('POST', `/v1/drains/${drain}/entries`, level('r0', minute(0), 0));
  expect([again.status, JSON.parse(again.text)]).toEqual([200, results[2].result]);
});

test('a dry run writes nothing and finds what lines show by themselves', async () => {
  const { results } = await send([PLACED, UP, { ...DRAIN, ...level('bad', '09:30', -1) }], '?dry-run=true');
  expect(results.map(({ status }) => status)).toEqual([200, 200, 422, undefined]);
  expect(results.at(-1)).toEqual({ lines: 3, dry_run: true, acceptable: 2, refused: 1 });
  expect(JSON.parse((await service.send('GET', '/v1/drains')).text).drains).toEqual([]);
});

test('another type of body, or a compressed one, is refused', async () => {
  const json = await service.send('POST', '/v1/entries/lines', '{}');
  const zipped = await service.send('POST', '/v1/entries/lines', '{}', {
    'content-type': 'application/x-ndjson',
    'content-encoding': 'gzip',
  });
  expect([json.status, zipped.status]).toEqual([415, 415]);
});

/** A client on a bare connection: what it sends, and when it reads, is up to the test. */
function open() {
  const { hostname, port } = new URL(service.url);
  const socket = connect(Number(port), hostname);
  let answer = '';
  socket.on('data', (data) => {
    answer += data;
  });
  socket.on('error', () => undefined);
  socket.write(
    'POST /v1/entries/lines HTTP/1.1\r\nhost: localhost\r\ncontent-type: application/x-ndjson\r\ntransfer-encoding: chunked\r\n\r\n',
  );
  const chunk = (text: string): void => {
    socket.write(`${Buffer.byteLength(text).toString(16)}\r\n${text}\r\n`);
  };
  return { socket, chunk, answer: () => answer };
}

test('results come while lines are still being sent', async () => {
  const client = open();
  client.chunk(asLines([PLACED, UP]));
  client.chunk(asLines(readings(500)));
  await until(() => client.answer().includes('{"line":100,"status":201}'));
  client.chunk(asLines([{ ...DRAIN, ...level('last', '23:00', 900) }]));
  client.chunk('');
  await until(() => client.answer().includes('"lines":503'));
  expect(client.answer()).toContain('"recorded":503');
  client.socket.destroy();
});

test('a client that sends all before it reads anything is served', async () => {
  const client = open();
  client.socket.pause();
  client.chunk(asLines([PLACED, UP]));
  for (let n = 0; n < 20; n += 1) client.chunk(asLines(readings(20)).replaceAll('"r', `"r${n}-`));
  client.chunk('');
  await until(() => client.socket.writableLength === 0);
  client.socket.resume();
  await until(() => client.answer().includes('"lines":402'));
  client.socket.destroy();
});

test('a cut leaves what was taken, and the same lines again give the rest', async () => {
  const client = open();
  const all = [PLACED, UP, ...readings(300)];
  client.chunk(asLines(all.slice(0, 150)));
  client.chunk(asLines(all.slice(150, 151)).slice(0, 40));
  await until(() => client.answer().includes('"line":20,'));
  client.socket.destroy();
  const { results } = await send(all);
  const { lines, recorded, repeated, refused } = results.at(-1);
  expect([lines, recorded + repeated, refused]).toEqual([302, 302, 0]);
  expect(repeated).toBeGreaterThanOrEqual(20);
});

test('a body that is too slow is cut; one that may go on is not while it comes', async () => {
  const app = Fastify({ requestTimeout: 0 });
  cutSlowRequests(app, 150);
  app.addContentTypeParser('text/x', (_request, payload, done) => done(null, payload));
  const whole = async ({ raw }: { raw: AsyncIterable<Buffer> }) => {
    let length = 0;
    for await (const part of raw) length += part.length;
    return { length };
  };
  app.post('/whole', whole as never);
  const doc = { operation: 'x', access: 'public', summary: '', answers: {}, streams: true } as const;
  app.post('/stream', { config: { doc } }, whole as never);
  const { port } = new URL(await app.listen({ host: '127.0.0.1', port: 0 }));
  const post = async (path: string, pauses: readonly number[]): Promise<string> => {
    const socket = connect(Number(port), '127.0.0.1');
    let answer = '';
    socket.on('data', (data) => {
      answer += data;
    });
    socket.on('error', () => undefined);
    const closed = new Promise((resolve) => socket.once('close', resolve));
    socket.write(
      `POST ${path} HTTP/1.1\r\nhost: localhost\r\ncontent-type: text/x\r\nconnection: close\r\ncontent-length: ${pauses.length}\r\n\r\n`,
    );
    for (const pause of pauses) {
      await new Promise((resolve) => setTimeout(resolve, pause));
      socket.write('x');
    }
    await closed;
    return answer;
  };
  const slow = Array(12).fill(40);
  expect(await post('/whole', slow)).toMatch(/^HTTP\/1\.1 408 /);
  expect(await post('/stream', slow)).toMatch(/^HTTP\/1\.1 200 [\s\S]*\{"length":12\}/);
  expect(await post('/stream', [1, 600])).toMatch(/^HTTP\/1\.1 408 /);
  await app.close();
});
