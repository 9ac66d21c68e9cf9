/** What has no body to wait for is never cut, however long its answer takes; no second answer is put into one that has begun. */
import { connect } from 'node:net';
import Fastify, { type FastifyInstance } from 'fastify';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { cutSlowRequests } from '../../src/http/slow-requests.ts';

const BODY_MS = 20;
const LONG_MS = 10 * BODY_MS;

let app: FastifyInstance;
let port: number;

beforeEach(async () => {
  app = Fastify({ requestTimeout: 0 });
  cutSlowRequests(app, BODY_MS);
  app.addContentTypeParser('text/x', (_request, payload, done) => done(null, payload));
  const answer = (_request: unknown, reply: { hijack(): void; raw: NodeJS.WritableStream }) => {
    reply.hijack();
    reply.raw.write('begun ');
    setTimeout(() => reply.raw.end('and ended'), LONG_MS);
  };
  const doc = { operation: 'x', access: 'public', summary: '', answers: {}, streams: true } as const;
  app.get('/', answer as never);
  app.post('/', { config: { doc } }, answer as never);
  port = Number(new URL(await app.listen({ host: '127.0.0.1', port: 0 })).port);
});
afterEach(() => app.close());

/** All that comes until the connection closes. */
async function ask(head: string): Promise<string> {
  const socket = connect(port, '127.0.0.1');
  let answer = '';
  socket.on('data', (data) => {
    answer += data;
  });
  socket.on('error', () => undefined);
  const closed = new Promise((resolve) => socket.once('close', resolve));
  socket.write(`${head}host: localhost\r\nconnection: close\r\n\r\n`);
  await closed;
  return answer;
}

test('an answer that takes longer than a body may comes whole', async () => {
  for (const head of ['GET / HTTP/1.1\r\n', 'GET / HTTP/1.1\r\ncontent-length: 0\r\n'])
    expect(await ask(head)).toMatch(/^HTTP\/1\.1 200 [\s\S]*begun [\s\S]*and ended[\s\S]*0\r\n\r\n$/);
});

test('a body that stops coming while it is answered ends the connection, with nothing put into the answer', async () => {
  const answer = await ask('POST / HTTP/1.1\r\ncontent-type: text/x\r\ncontent-length: 9\r\n');
  expect(answer).toMatch(/^HTTP\/1\.1 200 [\s\S]*begun /);
  expect(answer).not.toMatch(/408|and ended/);
});
