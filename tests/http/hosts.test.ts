/** In development mode nobody is asked who they are, so a site whose name points here must not be answered (DNS rebinding). */
import { request } from 'node:http';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { problemsOf } from '../support/r4.ts';
import { placement } from './messages.ts';
import { startTestService, type TestService } from './service.ts';

let service: TestService;
beforeAll(async () => {
  service = await startTestService();
});
afterAll(() => service.stop());

function ask(host: string, path: string, body?: object): Promise<{ status: number; text: string }> {
  const { hostname, port } = new URL(service.url);
  const headers = { host, ...(body === undefined ? {} : { 'content-type': 'application/json' }) };
  return new Promise((resolve, reject) => {
    const asked = request({ hostname, port, path, headers, method: body === undefined ? 'GET' : 'POST' });
    asked.on('error', reject).on('response', async (answer) => {
      const text = Buffer.concat(await answer.toArray()).toString();
      resolve({ status: answer.statusCode ?? 0, text });
    });
    asked.end(body === undefined ? undefined : JSON.stringify(body));
  });
}

test.each(['localhost', 'localhost:8080', 'LOCALHOST', '127.0.0.1', '[::1]:8080'])(
  '%s is answered',
  async (host) => {
    expect((await ask(host, '/v1/drains')).status).toBe(200);
  },
);

test.each(['evil.example', 'localhost.evil.example', '127.0.0.1.evil.example:80', '169.254.1.1', 'a b'])(
  '%s is not, and nothing is written',
  async (host) => {
    for (const path of ['/v1/drains', '/', '/healthz']) expect((await ask(host, path)).status).toBe(421);
    const fhir = await ask(host, '/fhir/Observation');
    expect(fhir.status).toBe(421);
    expect(problemsOf(JSON.parse(fhir.text))).toEqual([]);
    expect((await ask(host, '/v1/drains', placement('rebound'))).status).toBe(421);
    expect(JSON.parse((await ask('localhost', '/v1/drains')).text).drains).toEqual([]);
  },
);

test('what comes under another name cannot fill the ledger with what it makes up', async () => {
  for (const path of [
    '/v1/drains?after=made-up',
    '/v1/drains/made-up/chart',
    '/fhir/Observation?_id=made-up',
  ])
    expect((await ask('evil.example', path)).status).toBe(421);
  const kept = (await ask('localhost', '/fhir/AuditEvent?_count=1000')).text;
  expect(kept).toContain('answered with HTTP status 421');
  expect(kept).not.toContain('made-up');
  expect(kept).not.toContain(btoa('GET /v1/drains?after=made-up'));
  expect(kept).not.toContain(btoa('GET /fhir/Observation?_id=made-up'));
});
