/** Representations, conditions and errors. Sources: FHIR R4 http.html, search.html#summary; RFC 9110; RFC 7240. */
import { join } from 'node:path';
import Database from 'better-sqlite3';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { problemsOf } from '../support/r4.ts';
import { content, corrected, level, placeDrain, setUp, tell } from './messages.ts';
import { startTestService, type TestService } from './service.ts';

let service: TestService;
let path: string;

beforeAll(async () => {
  service = await startTestService();
  const drain = await placeDrain(service, 'placed', '08:00', { patient: { reference: 'Patient/1' } });
  await tell(
    drain,
    setUp('up', '08:00', 0),
    level('r', '09:00', 50),
    corrected('c1', 'r', content(level('', '09:00', 60))),
  );
  await tell(drain, corrected('c2', 'c1', content(level('', '09:00', 70))));
  const found = JSON.parse((await send('/Observation?code=level&status=corrected')).text);
  path = `/Observation/${found.entry[0].resource.id}`;
});
afterAll(() => service.stop());

/** Not through the check against the API reference, which knows one media type a status. */
async function send(at: string, headers: Record<string, string> = {}, init: RequestInit = {}) {
  const answer = await fetch(`${service.url}/fhir${at}`, { ...init, headers });
  return { status: answer.status, headers: answer.headers, text: await answer.text() };
}

describe('what is sent back', () => {
  const FHIR = 'application/fhir+json; charset=utf-8';
  test.each([
    [{}, '', 200, FHIR],
    [{ accept: 'application/fhir+json' }, '', 200, FHIR],
    [{ accept: 'application/fhir+json; fhirVersion=4.0' }, '', 200, FHIR],
    [{ accept: 'application/fhir+json; fhirVersion=3.0' }, '', 406, FHIR],
    [{ accept: 'application/json' }, '', 200, 'application/json; charset=utf-8'],
    [{ accept: 'text/json' }, '', 200, 'text/json; charset=utf-8'],
    [{ accept: 'application/fhir+xml, application/fhir+json;q=0.1' }, '', 200, FHIR],
    [{ accept: 'application/json;q=0.2, application/fhir+json;q=0.9' }, '', 200, FHIR],
    [{ accept: 'application/fhir+xml' }, '', 406, FHIR],
    [{ accept: 'text/html' }, '', 406, FHIR],
    [{ accept: 'application/fhir+json;q=0' }, '', 406, FHIR],
    [{ accept: 'application/fhir+json;q=0, */*' }, '', 200, 'application/json; charset=utf-8'],
    [{ accept: 'text/*' }, '', 200, 'text/json; charset=utf-8'],
    [{ accept: 'text/*;q=0.5, application/*' }, '', 200, FHIR],
    [{ accept: 'application/json, application/fhir+json;q=0.9' }, '', 200, 'application/json; charset=utf-8'],
    [{ accept: '' }, '', 200, FHIR],
    [{ accept: 'application/fhir+xml' }, '?_format=json', 200, FHIR],
    [{ accept: 'application/fhir+xml' }, '?_format=application/fhir+json', 200, FHIR],
    [{}, '?_format=application/json', 200, 'application/json; charset=utf-8'],
    [{}, '?_format=xml', 406, FHIR],
  ] as const)('%j %s: %i', async (headers, query, status, type) => {
    for (const at of [path, '/Observation', '/metadata', '/Observation/_history']) {
      const answer = await send(at + query, headers);
      expect([answer.status, answer.headers.get('content-type')], at).toEqual([status, type]);
      if (status === 406) expect(problemsOf(JSON.parse(answer.text))).toEqual([]);
    }
  });

  test('a form may name the format too, and its parameters add to those of the URL', async () => {
    const form = (body: string) =>
      send(
        '/Observation/_search?code=level',
        { 'content-type': 'application/x-www-form-urlencoded' },
        { method: 'POST', body },
      );
    expect((await form('_format=xml')).status).toBe(406);
    const bundle = JSON.parse((await form('patient=1')).text);
    expect(new URL(bundle.link[0].url).searchParams.toString()).toBe('code=level&patient=1');
    expect(JSON.parse((await form('patient=2')).text).total).toBe(0);
  });
});

test('conditional reads: If-None-Match goes before If-Modified-Since; tags with and without W/', async () => {
  const { headers } = await send(path);
  const [tag, modified] = [headers.get('etag') ?? '', headers.get('last-modified') ?? ''];
  expect(tag).toBe('W/"3"');
  const status = async (conditions: Record<string, string>) => (await send(path, conditions)).status;
  const earlier = new Date(Date.parse(modified) - 1000).toUTCString();
  expect(await status({ 'if-none-match': tag })).toBe(304);
  expect(await status({ 'if-none-match': '"3"' })).toBe(304);
  expect(await status({ 'if-none-match': 'W/"2", W/"3"' })).toBe(304);
  expect(await status({ 'if-none-match': '*' })).toBe(304);
  expect(await status({ 'if-none-match': 'W/"2"' })).toBe(200);
  expect(await status({ 'if-modified-since': modified })).toBe(304);
  expect(await status({ 'if-modified-since': earlier })).toBe(200);
  expect(await status({ 'if-none-match': 'W/"2"', 'if-modified-since': modified })).toBe(200);
  const answer = await send(path, { 'if-none-match': tag });
  expect([answer.text, answer.headers.get('etag')]).toEqual(['', tag]);
});

describe('parts of a resource', () => {
  const keys = async (at: string) => Object.keys(JSON.parse((await send(at)).text));

  test('_elements and _summary on a read keep what must be there, and mark it', async () => {
    expect(await keys(`${path}?_elements=value`)).toEqual([
      'resourceType',
      'id',
      'meta',
      'status',
      'code',
      'valueQuantity',
    ]);
    expect(await keys(`${path}?_summary=text`)).toEqual(['resourceType', 'id', 'meta', 'status', 'code']);
    expect(await keys(`${path}?_summary=true`)).not.toContain('category');
    expect(await keys(`${path}?_summary=data`)).toContain('category');
    const part = JSON.parse((await send(`${path}?_elements=subject`)).text);
    expect(part.meta.tag).toMatchObject([{ code: 'SUBSETTED' }]);
    expect(problemsOf(part)).toEqual([]);
    for (const bad of ['_elements=', '_summary=count', '_summary=true&_elements=code', '_count=1'])
      expect((await send(`${path}?${bad}`)).status, bad).toBe(400);
  });

  test('a number keeps its digits', async () => {
    const drain = await placeDrain(service, 'digits', '08:00');
    const raw = `{"identifier":{"system":"urn:example:ward","value":"d"},"author":{"type":"person","reference":"Practitioner/n1"},"effective_at":"2025-03-01T09:00:00Z","kind":"reading","level_ml":20.50}`;
    expect((await drain.enter(raw)).status).toBe(201);
    const { text } = await send('/Observation?value-quantity=20.5&_elements=value');
    expect(text).toContain('"valueQuantity":{"value":20.50,');
  });
});

test('a search that is too long for a URL is told to come as a form', async () => {
  // RFC 6585 5; FHIR R4 search.html: a search is also a POST of a form.
  const answer = await send(`/Observation?code=${'x'.repeat(20_000)}`);
  expect([answer.status, answer.headers.get('content-type')]).toEqual([
    431,
    'application/fhir+json; charset=utf-8',
  ]);
  const outcome = JSON.parse(answer.text);
  expect(problemsOf(outcome)).toEqual([]);
  expect(outcome.issue[0]).toMatchObject({ code: 'too-long', diagnostics: expect.stringContaining('POST') });
  const native = await fetch(`${service.url}/v1/drains?after=${'x'.repeat(20_000)}`);
  expect([native.status, native.headers.get('content-type')]).toEqual([
    431,
    'application/problem+json; charset=utf-8',
  ]);
});

test('a version that there is not: which one was asked for, and which there are', async () => {
  for (const version of ['9', '01', 'x']) {
    const answer = await send(`${path}/_history/${version}`);
    expect(answer.status).toBe(404);
    const outcome = JSON.parse(answer.text);
    expect(problemsOf(outcome)).toEqual([]);
    expect(outcome.issue[0]).toMatchObject({
      code: 'not-found',
      diagnostics: `${path.slice(1)} has no version '${version}': the newest is 3, see _history for the others`,
    });
  }
});

test('history of one: pages, since and at', async () => {
  const history = async (query: string) => JSON.parse((await send(`${path}/_history${query}`)).text);
  const numbers = (bundle: { entry?: readonly { resource: { meta: { versionId: string } } }[] }) =>
    (bundle.entry ?? []).map(({ resource }) => resource.meta.versionId);
  const first = await history('?_count=2');
  expect([numbers(first), first.total]).toEqual([['3', '2'], 3]);
  expect(problemsOf(first)).toEqual([]);
  const next = first.link.find((each: { relation: string }) => each.relation === 'next').url;
  const last = JSON.parse(await (await fetch(next)).text());
  expect(numbers(last)).toEqual(['1']);
  expect(last.link).toHaveLength(1);
  const second = first.entry[1].resource.meta.lastUpdated;
  expect(numbers(await history(`?_since=${second}`))).toContain('2');
  expect(numbers(await history('?_since=2999-01-01T00:00:00Z'))).toEqual([]);
  expect(numbers(await history('?_at=2999'))).toEqual(['3']);
  for (const bad of ['?_count=0', '?_since=never', '?_count=1&_count=2', '?_sort=date', '?_page=x'])
    expect((await send(`${path}/_history${bad}`)).status, bad).toBe(400);
});

describe('bodies that are not read', () => {
  const FORM = 'application/x-www-form-urlencoded';
  test.each([
    ['/Observation/_search', 'application/json', '{}', 415],
    ['/Observation/_search', 'text/plain', 'x', 415],
    ['/Observation/_search', `${FORM}; charset=latin1`, 'code=x', 415],
    ['/Observation/$stats', 'application/fhir+json; fhirVersion=5.0', '{}', 415],
    [
      '/Observation/$stats',
      'application/fhir+json',
      '{"resourceType":"Parameters","parameter":[{"name":"x","valueInteger":1.}]}',
      400,
    ],
    ['/Observation/$stats', 'application/fhir+json', '{"resourceType":"Bundle"}', 400],
    [
      '/Observation/$stats',
      'application/fhir+json',
      '{"resourceType":"Parameters","parameter":[{"name":"x","part":[]}]}',
      400,
    ],
    ['/Observation/_search', FORM, `code=${'x'.repeat(300_000)}`, 413],
    ['/Observation/_search', FORM, `code=${'x,'.repeat(600)}x`, 400],
  ])('%s %s: %#', async (at, type, body, status) => {
    const answer = await send(at, { 'content-type': type }, { method: 'POST', body });
    expect(answer.status, answer.text.slice(0, 200)).toBe(status);
    expect(answer.headers.get('content-type')).toBe('application/fhir+json; charset=utf-8');
    expect(problemsOf(JSON.parse(answer.text))).toEqual([]);
  });
});

test('a search sees what was answered before it was asked', async () => {
  const drain = await placeDrain(service, 'own', '08:00', { patient: { reference: 'Patient/own' } });
  await tell(drain, setUp('own-up', '08:00', 0));
  for (let n = 1; n <= 20; n += 1) {
    await tell(
      drain,
      level(`own-${n}`, `${String(8 + Math.floor(n / 4)).padStart(2, '0')}:${(n % 4) * 15 || '00'}`, n * 10),
    );
    expect(JSON.parse((await send('/Observation?patient=own&code=level&_count=0')).text).total).toBe(n);
  }
});

test('an index that does not fit the ledger: 503 with a wait, then made anew; reads of one go on', async () => {
  const db = new Database(join(service.folder, 'ledger.db.search'));
  const before = (await send('/Observation?code=level')).text;
  db.exec('UPDATE version SET position = position + 1');
  db.close();
  const broken = await send('/Observation?code=level&patient=1');
  expect(broken.status).toBe(503);
  expect(Number(broken.headers.get('retry-after'))).toBeGreaterThan(0);
  expect(JSON.parse(broken.text).issue[0].code).toBe('transient');
  expect((await send(path)).status).toBe(200);
  await expect
    .poll(async () => (await send('/Observation?code=level')).status, { timeout: 20_000, interval: 200 })
    .toBe(200);
  expect((await send('/Observation?code=level')).text).toBe(before);
  const [line] = service
    .log()
    .split('\n')
    .filter((each) => each.includes('search index stopped'));
  expect(line).toContain('    at ');
});
