/** Bodies that arrive together are read one a turn of the event loop; what has none, and what is asked inside, waits for no turn. */
import { once } from 'node:events';
import { connect, type Socket } from 'node:net';
import Fastify, { type FastifyInstance } from 'fastify';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { readBodiesInTurn } from '../../src/http/body-turns.ts';
import { until } from '../support/until.ts';

let app: FastifyInstance;
let port: number;
/** In which turn of the event loop each was handled. */
let handled: { readonly url: string; readonly turn: number }[];
let turn: number;
let isOver: boolean;
let connections: number;

beforeEach(async () => {
  app = Fastify();
  readBodiesInTurn(app);
  handled = [];
  const handle = async ({ url }: { readonly url: string }) => {
    handled.push({ url, turn });
    return {};
  };
  app.get('/*', handle);
  app.post('/*', handle);
  port = Number(new URL(await app.listen({ host: '127.0.0.1', port: 0 })).port);
  connections = 0;
  app.server.on('connection', () => {
    connections += 1;
  });
  turn = 0;
  isOver = false;
  const count = (): void => {
    turn += 1;
    if (!isOver) setImmediate(count);
  };
  setImmediate(count);
});
afterEach(async () => {
  isOver = true;
  await app.close();
});

async function connected(): Promise<Socket> {
  const socket = connect(port, '127.0.0.1');
  socket.on('error', () => undefined).resume();
  await once(socket, 'connect');
  return socket;
}

const post = (url: string, body = '{}'): string =>
  `POST ${url} HTTP/1.1\r\nhost: localhost\r\nconnection: close\r\ncontent-type: application/json\r\ncontent-length: 2\r\n\r\n${body}`;
const get = (url: string): string => `GET ${url} HTTP/1.1\r\nhost: localhost\r\nconnection: close\r\n\r\n`;

const turnsOf = (urls: RegExp): number[] =>
  handled.filter(({ url }) => urls.test(url)).map((each) => each.turn);

/** They arrive in one turn: all are written, to connections that the server has taken, before the event loop reads any. */
async function sendTogether(texts: readonly string[]): Promise<readonly Socket[]> {
  const taken = connections + texts.length;
  const sockets = await Promise.all(texts.map(connected));
  await until(() => connections === taken);
  for (const [n, socket] of sockets.entries()) socket.write(texts[n] ?? '');
  return sockets;
}

test('twenty that arrive together are read in twenty turns, in their order', async () => {
  const urls = Array.from({ length: 20 }, (_, n) => `/body-${n}`);
  await sendTogether(urls.map((url) => post(url)));
  await until(() => handled.length === 20);
  const turns = turnsOf(/body/);
  expect(new Set(turns).size).toBe(20);
  expect(turns).toEqual([...turns].sort((a, b) => a - b));
});

test('who only reads is answered before bodies that came earlier and wait', async () => {
  const bodies = Array.from({ length: 20 }, (_, n) => post(`/body-${n}`));
  await sendTogether([...bodies, get('/read')]);
  await until(() => handled.length === 21);
  const [read] = turnsOf(/read/);
  expect(turnsOf(/body/).filter((each) => each > (read ?? Infinity)).length).toBeGreaterThan(10);
});

test('a body that does not come whole, or whose sender leaves, holds nobody up', async () => {
  const [half, gone] = await sendTogether([post('/half', '{'), post('/gone', '{'), post('/whole')]);
  gone?.destroy();
  await until(() => handled.length === 1);
  half?.write('}');
  await until(() => handled.length === 2);
  await Promise.all((await sendTogether([post('/after')])).map((socket) => once(socket, 'close')));
  expect(handled.map(({ url }) => url)).toEqual(['/whole', '/half', '/after']);
});

test('what is asked inside the service waits for no turn', async () => {
  const asked = Array.from({ length: 20 }, (_, n) =>
    app.inject({ method: 'POST', url: `/in-${n}`, payload: {} }),
  );
  await Promise.all(asked);
  expect(new Set(turnsOf(/in-/)).size).toBeLessThan(20);
});
