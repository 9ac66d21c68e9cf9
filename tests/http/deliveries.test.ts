/** Deliveries over HTTP: what is listed, and what staff order, with an EHR that refuses what it is told to refuse. */
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { createServer, type Server } from 'node:http';
import type { AddressInfo } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { until } from '../support/until.ts';
import { level, placeDrain, setUp, tell } from './messages.ts';
import { startTestService, type TestService } from './service.ts';

const BY = { author: { type: 'person', reference: 'Practitioner/n1' }, reason: 'the code is known now' };

let folder: string;
let service: TestService;
let servers: Server[];
/** What each target answers; 200 otherwise. */
let statuses: Record<string, number>;
let received: Record<string, number[]>;

beforeEach(async () => {
  folder = mkdtempSync(join(tmpdir(), 'deliveries-test-'));
  statuses = {};
  received = {};
  servers = [];
  const targets = [];
  for (const name of ['one', 'two']) {
    const base_url = await startEhr(name);
    const waits = { ceiling_s: 1, timeout_s: 1, longest_pause_s: 0.05 };
    // Whatever has come by the time that it is looked at, each entry has a Bundle of its own.
    targets.push({ name, base_url, mode: 'transaction', ...waits, resources_at_once: 1 });
  }
  const file = join(folder, 'targets.json');
  writeFileSync(file, JSON.stringify({ targets }));
  service = await startTestService({ DRAINLEDGER_TARGETS: file });
});
afterEach(async () => {
  await service.stop();
  for (const server of servers) {
    server.closeAllConnections();
    await new Promise((resolve) => server.close(resolve));
  }
  rmSync(folder, { recursive: true });
});

async function startEhr(name: string): Promise<string> {
  const server = createServer((request, response) => {
    let body = '';
    request.on('data', (chunk: Buffer) => {
      body += chunk.toString();
    });
    request.on('end', () => {
      const status = statuses[name] ?? 200;
      if (status === 200) received[name] = [...(received[name] ?? []), ...levelsIn(body)];
      const issue = [{ severity: 'error', code: 'code-invalid', diagnostics: 'code not known' }];
      response.writeHead(status, { 'content-type': 'application/fhir+json' });
      response.end(status === 200 ? '' : JSON.stringify({ resourceType: 'OperationOutcome', issue }));
    });
  });
  servers.push(server);
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
  return `http://127.0.0.1:${(server.address() as AddressInfo).port}/fhir`;
}

interface Sent {
  readonly id: string;
  readonly valueQuantity?: { readonly value: number };
}
function levelsIn(body: string): number[] {
  const sent = JSON.parse(body) as Sent & { entry?: { resource: Sent }[] };
  const resources = sent.entry?.map(({ resource }) => resource) ?? [sent];
  return resources.flatMap(({ id, valueQuantity }) =>
    id.startsWith('level.') ? (valueQuantity?.value ?? []) : [],
  );
}

const get = async (path: string) => JSON.parse((await service.send('GET', path)).text);
const post = async (path: string, body: object) => {
  const { status, text } = await service.send('POST', path, body);
  return { status, body: JSON.parse(text) };
};
interface Listed {
  readonly delivery: string;
  readonly target: string;
  readonly state: string;
}
const list = async (query = ''): Promise<Listed[]> => (await get(`/v1/deliveries${query}`)).deliveries;

const untilSo = (holds: () => Promise<boolean>) => until(holds, list);
const untilAllIn = (target: string, levels: readonly number[]) =>
  untilSo(async () => JSON.stringify(received[target]) === JSON.stringify(levels));

async function chart(): Promise<string> {
  const drain = await placeDrain(service, 'd', '08:00', { patient: { reference: 'Patient/p1' } });
  await tell(drain, setUp('set-up', '08:00', 0), level('a', '09:00', 120), level('b', '10:00', 200));
  return drain.drain;
}

describe('what is under way', () => {
  it('goes to every target; one that refuses stops neither the other nor its own drain', async () => {
    statuses.one = 422;
    const drain = await chart();
    await untilAllIn('two', [120, 200]);
    await untilSo(async () => (await list('?state=dead')).length === 3);
    const [dead] = await list(`?state=dead&target=one&drain=${drain}`);
    expect(dead).toMatchObject({
      delivery: expect.stringContaining(`one.${drain}.`),
      attempts: 1,
      next_attempt: null,
      outcome: { why: 'HTTP 422: code not known', status: 422, issues: [{ code: 'code-invalid' }] },
    });
    expect(await list('?target=two')).toEqual([]);
    const { events } = await get(`/v1/deliveries/events?drain=${drain}&target=two`);
    expect(events.map(({ kind }: { kind: string }) => kind)).toEqual(
      Array.from({ length: 3 }, () => ['sending', 'delivered']).flat(),
    );
  });

  it('is sent again when it is asked for, with the reason kept', async () => {
    statuses.one = 422;
    const drain = await chart();
    await untilSo(async () => (await list('?state=dead')).length === 3);
    delete statuses.one;
    const [first] = await list('?state=dead');
    expect(await post(`/v1/deliveries/${first?.delivery}/requeue`, BY)).toEqual({
      status: 200,
      body: { deliveries: 1 },
    });
    await untilSo(async () => (await list('?target=one')).length === 2);
    expect(await post('/v1/targets/one/requeue', BY)).toEqual({ status: 200, body: { deliveries: 2 } });
    await untilAllIn('one', [120, 200]);
    await untilSo(async () => (await list()).length === 0);
    const { events } = await get(`/v1/deliveries/events?drain=${drain}&target=one`);
    const requeued = events.filter(({ kind }: { kind: string }) => kind === 'requeued');
    expect(requeued).toHaveLength(3);
    expect(requeued[0]).toMatchObject({ author: BY.author, reason: BY.reason });
    expect(await post(`/v1/deliveries/${first?.delivery}/requeue`, BY)).toMatchObject({
      status: 409,
      body: { type: 'urn:drainledger:problem:not-set-aside' },
    });
  });

  it('is given up when that is asked for, and the drain goes on', async () => {
    statuses.one = 503;
    await chart();
    await untilSo(async () => (await list('?target=one&state=waiting')).length === 1);
    let skipped = { status: 0 };
    await untilSo(async () => {
      const [waiting] = await list('?target=one');
      skipped = await post(`/v1/deliveries/${waiting?.delivery}/skip`, BY);
      return skipped.status === 200;
    });
    delete statuses.one;
    await untilAllIn('one', [120, 200]);
    await untilSo(async () => (await list('?target=one')).length === 1);
    expect(await list('?target=one')).toMatchObject([{ state: 'skipped', outcome: { why: BY.reason } }]);
  });

  it('is replayed to a target as it stands now, once', async () => {
    const drain = await chart();
    await untilAllIn('one', [120, 200]);
    const period = { from: '2020-01-01T00:00:00Z', to: '2100-01-01T00:00:00Z' };
    expect(await post('/v1/targets/one/replay', { ...BY, ...period })).toEqual({
      status: 200,
      body: { drains: 1 },
    });
    await untilAllIn('one', [120, 200, 120, 200]);
    expect(received.two).toEqual([120, 200]);
    expect(await post('/v1/targets/one/replay', { ...BY, ...period, drain: `not-${drain}` })).toMatchObject({
      body: { drains: 0 },
    });
    const backwards = { ...BY, from: period.to, to: period.from };
    expect(await post('/v1/targets/one/replay', backwards)).toMatchObject({
      status: 422,
      body: { errors: [{ pointer: '/to' }] },
    });
  });
});

describe('a target', () => {
  it('that forbids what is sent is parked, says so, and goes on once it is resumed', async () => {
    statuses.one = 403;
    await chart();
    const stateOf = async () => (await get('/v1/targets')).targets[0];
    await untilSo(async () => (await stateOf()).state === 'parked');
    await untilSo(async () => (await list('?target=two')).length === 0);
    expect(await stateOf()).toMatchObject({ target: 'one', waiting: 3, requests: { forbidden: 1 } });
    expect((await service.send('GET', '/readyz')).status).toBe(200);
    const figures = (await service.send('GET', '/metrics')).text;
    expect(figures).toContain('drainledger_delivery_depth{target="one"} 3\n');
    expect(figures).toContain('drainledger_delivery_depth{target="two"} 0\n');
    expect(figures).toContain('drainledger_delivery_breaker{target="one",state="parked"} 1\n');
    expect(figures).toContain('drainledger_delivery_requests_total{target="one",class="forbidden"} 1\n');
    expect(figures).toMatch(/drainledger_delivery_oldest_seconds\{target="one"\} \d/);
    delete statuses.one;
    expect((await post('/v1/targets/one/resume', BY)).status).toBe(200);
    await untilAllIn('one', [120, 200]);
    const { events } = await get('/v1/deliveries/events?target=one');
    const kinds = events.map(({ kind }: { kind: string }) => kind);
    expect(kinds.filter((kind: string) => ['started', 'parked', 'resumed'].includes(kind))).toEqual([
      'started',
      'parked',
      'resumed',
    ]);
    // What the EHR said stays out of the log.
    expect(service.log()).not.toContain('code not known');
  });
});

describe('what cannot be done', () => {
  it.each<[string, string, object | undefined, number, string]>([
    ['POST', '/v1/targets/three/resume', BY, 404, '/target'],
    ['POST', '/v1/targets/one/resume', { author: BY.author }, 422, '/reason'],
    ['POST', '/v1/deliveries/nonsense/skip', BY, 404, '/delivery'],
    ['POST', '/v1/deliveries/one.abc.1/skip', { ...BY, force: true }, 422, '/force'],
    ['GET', '/v1/deliveries?state=lost', undefined, 400, '?state'],
    ['GET', '/v1/deliveries?after=x', undefined, 400, '?after'],
    ['GET', '/v1/deliveries/events?after=x', undefined, 400, '?after'],
  ])('%s %s', async (method, path, body, status, pointer) => {
    const answer = await service.send(method, path, body);
    expect(answer.status).toBe(status);
    expect(JSON.parse(answer.text).errors[0].pointer).toBe(pointer);
  });

  it('is told page by page', async () => {
    statuses.one = 422;
    const drain = await placeDrain(service, 'd', '08:00', { patient: { reference: 'Patient/p1' } });
    await tell(drain, setUp('set-up', '08:00', 0));
    for (let n = 0; n < 105; n += 1) {
      const time = `${10 + Math.floor(n / 60)}:${String(n % 60).padStart(2, '0')}`;
      await tell(drain, level(`r${n}`, time, 10 + n * 5));
    }
    await untilSo(async () => (await list('?target=two')).length === 0);
    await untilSo(async () => (await get('/v1/targets')).targets[0].waiting === 0);
    const first = await get('/v1/deliveries?target=one');
    expect(first.deliveries).toHaveLength(100);
    const second = await get(`/v1/deliveries?target=one&after=${first.next_after}`);
    expect(second).toMatchObject({ next_after: null });
    expect(second.deliveries).toHaveLength(6);
    const names = [...first.deliveries, ...second.deliveries].map(({ delivery }) => delivery);
    expect(new Set(names).size).toBe(106);
  });
});
