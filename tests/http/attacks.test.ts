/**
 * What somebody might try who may come in, or may not. Sources: OWASP API Security Top 10 2023 (API1 object level, API4
 * resource use, API7 SSRF, API8 misconfiguration), OWASP REST Security Cheat Sheet (headers), RFC 9112 section 6.3
 * (request smuggling), RFC 6585 section 4 (429), WHATWG Fetch (CORS); from memory.
 */
import { createServer, type Server } from 'node:http';
import { type AddressInfo, connect } from 'node:net';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { problemsOf } from '../support/r4.ts';
import { type Guarded, startGuarded } from './access-control.ts';
import * as raw from './fhir-messages.ts';
import { id, level, placement, setUp } from './messages.ts';

let guarded: Guarded;
let full: string;
let mine: string;
let other: string;
/** Counts whoever calls it: the service must not. */
let bait: Server;
let baitUrl: string;
let calls = 0;

beforeAll(async () => {
  guarded = await startGuarded();
  full = await guarded.token({ scope: 'system/*.cruds drainledger/operate drainledger/audit' });
  const place = async (key: string, patient: string) => {
    const body = placement(key, '08:00', { patient: { reference: patient } });
    const { drain } = JSON.parse((await guarded.send(full, 'POST', '/v1/drains', body)).text);
    for (const message of [setUp(`${key}-up`, '08:00', 0), level(`${key}-r`, '09:00', 50)])
      await guarded.send(full, 'POST', `/v1/drains/${drain}/entries`, message);
    return drain as string;
  };
  mine = await place('mine', 'Patient/1');
  other = await place('other', 'Patient/2');
  bait = createServer((_request, response) => {
    calls += 1;
    response.end('{}');
  });
  await new Promise<void>((resolve) => bait.listen(0, '127.0.0.1', resolve));
  baitUrl = `http://127.0.0.1:${(bait.address() as AddressInfo).port}`;
});
afterAll(async () => {
  await guarded.stop();
  await new Promise((resolve) => bait.close(resolve));
});

/** Bytes as they are, and what comes back before the connection ends. */
function rawly(text: string): Promise<string> {
  const { hostname, port } = new URL(guarded.service.url);
  return new Promise((resolve, reject) => {
    const socket = connect(Number(port), hostname, () => socket.write(text));
    let answer = '';
    socket.setEncoding('utf8');
    socket.on('data', (part: string) => {
      answer += part;
    });
    socket.on('close', () => resolve(answer));
    socket.on('error', reject);
  });
}
const request = (method: string, path: string, headers = '', body = '') =>
  rawly(
    `${method} ${path} HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer ${full}\r\nConnection: close\r\n${headers}\r\n${body}`,
  );

describe('another patient', () => {
  test('is not reached by any search, operation, include, history or audit', async () => {
    const scope = ['Observation', 'Device', 'Provenance', 'AuditEvent']
      .map((type) => `patient/${type}.rs`)
      .join(' ');
    const token = await guarded.token({ scope, patient: '1' });
    const found = JSON.parse(
      (await guarded.send(full, 'GET', '/fhir/Observation?patient=2&code=level')).text,
    );
    const theirs = found.entry[0].resource.id as string;
    for (const query of [
      `Observation?_id=${theirs}`,
      `Observation?identifier=${id('other-r').system}|other-r`,
      `Observation?derived-from=Observation/${theirs}`,
      `Observation?subject=Patient/2`,
      `Observation?patient.identifier=x|y,Patient/2&code=level`,
      `Observation/$lastn?patient=2&code=level&max=10`,
      `Provenance?target=Observation/${theirs}&_count=10`,
      `Device?patient=Patient/2`,
      `Provenance?_sort=_lastUpdated&_count=1000`,
      'Observation/_history',
      `Observation/${theirs}/_history/1`,
      'AuditEvent?patient=2',
      'AuditEvent/0',
    ]) {
      const { status, text } = await guarded.send(token, 'GET', `/fhir/${query}`);
      expect([200, 400, 403], query).toContain(status);
      // The self link repeats what was asked.
      expect(text.replaceAll(/"link":\[.*?\]/g, ''), query).not.toContain(other);
      expect(text.includes('"reference":"Patient/2"'), query).toBe(false);
    }
    // It repeats whose it was asked for, and counts none.
    const stats = '/fhir/Observation/$stats?code=level&statistic=count&duration=99999';
    const counts = async (who: string) =>
      /"component".*"value":(\d+)/.exec(
        (await guarded.send(who, 'GET', `${stats}&subject=Patient/2`)).text,
      )?.[1];
    expect([await counts(token), await counts(full)]).toEqual(['0', '1']);
    const entries = [`Observation/${theirs}`, `Observation?patient=2`, `Observation/${theirs}/_history/1`];
    const batch = raw.bundleOf('batch', ...entries.map((url) => ({ request: { method: 'GET', url } })));
    const { text } = await guarded.send(token, 'POST', '/fhir', batch);
    expect(
      JSON.parse(text).entry.map((each: { response: { status: string } }) =>
        each.response.status.slice(0, 3),
      ),
    ).toEqual(['403', '200', '403']);
    expect(text.includes(`"id":"${theirs}"`)).toBe(false);
  });
});

describe('a path', () => {
  test.each([
    '/page/..%2f..%2fpackage.json',
    '/page/%2e%2e%2f%2e%2e%2fpackage.json',
    '/page/..%5c..%5cpackage.json',
    '/page/../../package.json',
    '/../../../../etc/passwd',
    '/page/%00index.html',
    '/page/constructor',
    '/page/__proto__',
    '/v1/drains/..%2f..%2fmetrics',
    '/v1/drains/__proto__/chart',
    '/fhir/Observation/..%2f..%2fAuditEvent',
    '/v1//drains',
    '//evil.example/v1/drains',
  ])('%s leads nowhere', async (path) => {
    const answer = await request('GET', path);
    expect(answer).toMatch(/^HTTP\/1\.1 (400|404)/);
    expect(answer).not.toMatch(/"version"|root:|drainledger_/);
  });
});

describe('headers', () => {
  test('cannot be smuggled in by what was sent', async () => {
    const crlf = '%0d%0aset-cookie:%20a=b';
    for (const path of [
      `/v1/drains/x${crlf}/chart`,
      `/fhir/Observation/x${crlf}`,
      `/fhir/Observation?code=x${crlf}`,
      `/fhir/Observation?_page=x${crlf}`,
      `/v1/drains?after=x${crlf}`,
      `/x${crlf}`,
    ])
      expect((await request('GET', path)).toLowerCase(), path).not.toMatch(/\r\nset-cookie/);
    const odd = await request('GET', `/v1/drains/${mine}/chart`, 'X-Request-Id: a b<script>\r\n');
    expect(odd).toMatch(/^HTTP\/1\.1 200/);
  });

  test('of two lengths, or a length and chunks, are one request that is refused', async () => {
    for (const headers of [
      'Content-Type: application/json\r\nContent-Length: 2\r\nTransfer-Encoding: chunked\r\n',
      'Content-Type: application/json\r\nContent-Length: 2\r\nContent-Length: 40\r\n',
      'Content-Type: application/json\r\nTransfer-Encoding: chunked, identity\r\n',
    ]) {
      const answer = await request(
        'POST',
        '/v1/entries',
        headers,
        `{}GET /v1/drains HTTP/1.1\r\nHost: x\r\n\r\n`,
      );
      expect(answer.match(/HTTP\/1\.1 \d+/g), headers).toEqual(['HTTP/1.1 400']);
    }
  });

  test('of no host, or of two, are refused (RFC 9112 section 3.2)', async () => {
    for (const path of ['/v1/drains', '/fhir/Observation', '/livez']) {
      const own = `Authorization: Bearer ${full}\r\nConnection: close\r\n`;
      for (const hosts of ['', 'Host: x\r\nHost: y\r\n']) {
        const answer = await rawly(`GET ${path} HTTP/1.1\r\n${hosts}${own}\r\n`);
        expect(answer, hosts).toMatch(/^HTTP\/1\.1 400/);
        expect(answer, hosts).toMatch(/content-type: application\/(problem|fhir)\+json/);
        expect(answer, hosts).toContain('send it once');
      }
      expect(await rawly(`GET ${path} HTTP/1.0\r\n${own}\r\n`)).toMatch(/^HTTP\/1\.1 200/);
    }
  });

  test('of a host or a forwarding do not change links or addresses', async () => {
    const headers =
      'X-Forwarded-Host: evil.example\r\nX-Forwarded-For: 9.9.9.9\r\nForwarded: host=evil.example\r\n';
    const answer = await request('GET', '/fhir/Observation?_count=1', headers);
    expect(answer).toContain(guarded.service.url);
    expect(answer).not.toContain('evil.example');
    const kept = await guarded.send(full, 'GET', '/fhir/AuditEvent?_count=1000');
    expect(kept.text).not.toContain('"address":"9.9.9.9"');
  });

  test('of each answer keep it from caches, frames and other readings, and no other site is let in', async () => {
    for (const path of [
      '/v1/drains',
      '/fhir/metadata',
      '/fhir/Observation/x',
      '/livez',
      '/v1/overview/live',
      '/nothing',
      '/metrics',
      '/',
      '/openapi.json',
    ]) {
      const { headers } = await guarded.send(full, 'GET', path, undefined, {
        origin: 'https://evil.example',
      });
      expect(headers.get('x-content-type-options'), path).toBe('nosniff');
      expect(headers.get('x-frame-options'), path).toBe('DENY');
      expect(headers.get('referrer-policy'), path).toBe('no-referrer');
      expect(headers.get('cache-control'), path).toMatch(/^no-(store|cache)(, no-transform)?$/);
      expect(headers.get('content-security-policy'), path).toMatch(
        /default-src 'none'.*frame-ancestors 'none'/,
      );
      expect(headers.get('x-powered-by') ?? headers.get('server'), path).toBeNull();
      expect(
        [...headers.keys()].filter((name) => name.startsWith('access-control')),
        path,
      ).toEqual([]);
    }
    const asked = 'Origin: https://evil.example\r\nAccess-Control-Request-Method: POST\r\n';
    const preflight = await request('OPTIONS', '/v1/entries', asked);
    expect(preflight).toMatch(/^HTTP\/1\.1 40[45]/);
    expect(preflight.toLowerCase()).not.toContain('access-control-allow');
  });
});

test('no URL that is sent is ever called', async () => {
  const resource = raw.level('ssrf-1', '10:00', 60, {
    focus: [{ identifier: id('mine') }],
    subject: { reference: `${baitUrl}/Patient/1` },
    implicitRules: `${baitUrl}/rules`,
    meta: { profile: [`${baitUrl}/profile`] },
  });
  for (const body of [resource, { ...resource, contained: [{ resourceType: 'Patient', id: 'p' }] }])
    await guarded.send(full, 'POST', '/fhir/Observation', body, {
      'if-none-exist': `${baitUrl}/Observation?identifier=x|y`,
    });
  const entries = [baitUrl, `${baitUrl}/Observation`, '//127.0.0.1/x', `metadata?url=${baitUrl}`].map(
    (url) => ({
      fullUrl: baitUrl,
      request: { method: 'GET', url },
    }),
  );
  const batch = await guarded.send(full, 'POST', '/fhir', raw.bundleOf('batch', ...entries));
  expect(problemsOf(JSON.parse(batch.text))).toEqual([]);
  for (const query of [
    `subject=${baitUrl}/Patient/1`,
    `_include=${baitUrl}`,
    `_profile=${baitUrl}`,
    `_page=${baitUrl}`,
  ])
    await guarded.send(full, 'GET', `/fhir/Observation?${query}`);
  await guarded.send(full, 'GET', `/fhir/CodeSystem?url=${baitUrl}`);
  const other = await guarded.token({ iss: baitUrl });
  expect((await guarded.send(other, 'GET', '/v1/drains')).status).toBe(401);
  expect(calls).toBe(0);
});

test('what a token says of its patient and its user is in no log', async () => {
  const CANARY = 'Canary-7391';
  const token = await guarded.token({ scope: 'patient/*.rs', patient: CANARY, sub: CANARY, jti: CANARY });
  for (const path of [
    `/v1/drains/${mine}/chart`,
    `/fhir/Observation?patient=${CANARY}`,
    `/v1/drains/${CANARY}/chart`,
    '/v1/drains',
  ])
    await guarded.send(token, 'GET', path, undefined, { 'x-request-id': CANARY });
  const log = guarded.service.log();
  expect(log).toContain('"route":"/v1/drains/:drain/chart"');
  expect(log.split('\n').filter((line) => line.includes(CANARY))).toEqual([]);
  expect(log).not.toContain(token);
});

describe('a client that asks too much', () => {
  let few: Guarded;
  beforeAll(async () => {
    few = await startGuarded({ DRAINLEDGER_REQUESTS_PER_MINUTE: '20' });
  });
  afterAll(() => few.stop());
  const repeat = async (times: number, ask: () => Promise<{ status: number }>) =>
    (await Promise.all(Array.from({ length: times }, ask))).map(({ status }) => status);

  test('is told to wait, in the form of what it asked, and no other with it', async () => {
    const wild = await few.token({ client_id: 'wild', scope: 'system/Observation.rs' });
    const calm = await few.token({ client_id: 'calm', scope: 'system/Observation.rs' });
    const statuses = await repeat(25, () => few.send(wild, 'GET', '/v1/drains'));
    expect(statuses.filter((each) => each === 200)).toHaveLength(20);
    const native = await few.send(wild, 'GET', '/v1/drains');
    expect([native.status, JSON.parse(native.text).type]).toEqual([
      429,
      'urn:drainledger:problem:too-many-requests',
    ]);
    const wait = Number(native.headers.get('retry-after'));
    expect(wait >= 1 && wait <= 60).toBe(true);
    const fhir = await few.send(wild, 'GET', '/fhir/Observation');
    expect([fhir.status, problemsOf(JSON.parse(fhir.text)), JSON.parse(fhir.text).issue[0].code]).toEqual([
      429,
      [],
      'throttled',
    ]);
    expect((await few.send(calm, 'GET', '/v1/drains')).status).toBe(200);
    // Health is for whoever watches the machine.
    expect(await repeat(30, () => few.send(wild, 'GET', '/livez'))).not.toContain(429);
  });

  test('is measured by its address while it is not known, and never keeps out who is', async () => {
    const calm = await few.token({ client_id: 'calm-2', scope: 'system/Observation.rs' });
    const statuses = await repeat(30, () => few.send('nobody', 'GET', '/v1/drains'));
    expect(statuses.filter((each) => each === 401)).toHaveLength(20);
    expect(statuses.filter((each) => each === 429)).toHaveLength(10);
    expect((await few.send(calm, 'GET', '/v1/drains')).status).toBe(200);
  });

  test('pays for a batch once', async () => {
    const token = await few.token({ client_id: 'batches', scope: 'system/*.rs' });
    const entries = Array.from({ length: 30 }, () => ({
      request: { method: 'GET', url: 'Observation?_count=1' },
    }));
    const { status, text } = await few.send(token, 'POST', '/fhir', raw.bundleOf('batch', ...entries));
    expect(status).toBe(200);
    const answers = (JSON.parse(text) as { entry: readonly { response: { status: string } }[] }).entry;
    expect(answers.map((each) => each.response.status)).toEqual(entries.map(() => '200 OK'));
  });
});

test('a proxy that is configured says for whom it asks', async () => {
  const behind = await startGuarded({ DRAINLEDGER_PROXIES: '127.0.0.1' });
  const token = await behind.token({ scope: 'system/*.rs' });
  await behind.send(token, 'GET', '/v1/drains', undefined, { 'x-forwarded-for': '192.0.2.7' });
  const { text } = await behind.send(token, 'GET', '/fhir/AuditEvent?subtype=search-type');
  expect(JSON.parse(text).entry[0].resource.agent[0].network).toEqual({ address: '192.0.2.7', type: '2' });
  await behind.stop();
});
