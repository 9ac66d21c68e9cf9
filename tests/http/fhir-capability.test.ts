/**
 * The CapabilityStatement against the service: all that it claims is called, and what it does not claim is tried.
 * Source: FHIR R4 http.html, search.html (status codes, headers, modifiers).
 */
import type { CapabilityStatement, CapabilityStatementRestResource } from 'fhir/r4.js';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { problemsOf } from '../support/r4.ts';
import { assigned, registerMonitor } from './device-ward.ts';
import * as raw from './fhir-messages.ts';
import { level, placeDrain, SYSTEM, setUp, tell } from './messages.ts';
import { startTestService, type TestService } from './service.ts';

let service: TestService;
let observation: CapabilityStatementRestResource;
let statement: CapabilityStatement;
let someId: string;

beforeAll(async () => {
  service = await startTestService();
  const drain = await placeDrain(service, 'placed', '08:00', { patient: { reference: 'Patient/1' } });
  await tell(drain, setUp('up', '08:00', 0), level('r', '09:00', 50));
  const monitor = await registerMonitor(service);
  await monitor.assign(assigned('a1', drain.drain, '08:00'));
  statement = JSON.parse((await get('/metadata')).text);
  const found = statement.rest?.[0]?.resource?.find(({ type }) => type === 'Observation');
  if (found === undefined) throw new Error('no Observation is claimed');
  observation = found;
  someId = JSON.parse((await get('/Observation?code=level')).text).entry[0].resource.id;
});
afterAll(() => service.stop());

const get = (path: string, headers: object = {}) => service.send('GET', `/fhir${path}`, undefined, headers);
const search = (name: string, value: string) => get(`/Observation?${new URLSearchParams([[name, value]])}`);

test('it is valid, has a tag that tells it from another, and names nothing twice', async () => {
  const first = await get('/metadata?mode=full');
  expect(problemsOf(JSON.parse(first.text))).toEqual([]);
  const tag = first.headers.get('etag') ?? '';
  expect(tag).toMatch(/^W\/"[0-9a-f]+"$/);
  expect((await get('/metadata', { 'if-none-match': tag })).status).toBe(304);
  const other = await startTestService({ DRAINLEDGER_ZONE: 'Asia/Tokyo' });
  expect((await other.send('GET', '/fhir/metadata')).headers.get('etag')).not.toBe(tag);
  await other.stop();
  const names = observation.searchParam?.map(({ name }) => name) ?? [];
  expect(new Set(names).size).toBe(names.length);
});

const TYPES = [
  'Observation',
  'Device',
  'Provenance',
  'AuditEvent',
  'DeviceUseStatement',
  'CodeSystem',
  'ValueSet',
  'StructureDefinition',
];

const WRITTEN = ['Observation', 'Device', 'DeviceUseStatement'];

/** By type: what may be brought along, and what refers to it and may be. Those that are missing have neither. */
const INCLUDES: Readonly<Record<string, readonly (readonly string[] | undefined)[]>> = {
  Observation: [
    ['Observation:derived-from', 'Observation:has-member', 'Observation:device'],
    ['Provenance:target'],
  ],
  Device: [undefined, ['Provenance:target']],
};

test('it claims these types, and no others', () => {
  expect(statement.rest?.[0]?.resource?.map(({ type }) => type)).toEqual([
    ...TYPES,
    // Held elsewhere: nothing but the export of all patients stands at it.
    'Patient',
  ]);
});

describe.each(TYPES)('what it claims of %s', (type) => {
  const claimed = (): CapabilityStatementRestResource => {
    const found = statement.rest?.[0]?.resource?.find((each) => each.type === type);
    if (found === undefined) throw new Error(`no ${type} is claimed`);
    return found;
  };

  test('every interaction', async () => {
    const id = JSON.parse((await get(`/${type}?_count=1`)).text).entry[0].resource.id;
    const paths: Readonly<Record<string, string>> = {
      read: `/${type}/${id}`,
      vread: `/${type}/${id}/_history/1`,
      'history-instance': `/${type}/${id}/_history`,
      'history-type': `/${type}/_history`,
      'search-type': `/${type}`,
    };
    const codes = claimed().interaction?.map(({ code }) => code) ?? [];
    const isOfOneVersion = claimed().versioning === 'no-version' || type === 'DeviceUseStatement';
    const reads = isOfOneVersion ? ['read', 'search-type'] : Object.keys(paths);
    expect([...codes].sort()).toEqual(
      [...reads, ...(WRITTEN.includes(type) ? ['create', 'update'] : [])].sort(),
    );
    for (const code of reads) {
      const answer = await get(paths[code] ?? '');
      expect(answer.status, code).toBe(200);
      expect(problemsOf(JSON.parse(answer.text))).toEqual([]);
      const head = await service.send('HEAD', `/fhir${paths[code]}`);
      expect([head.status, head.text, head.headers.get('content-type')], code).toEqual([
        200,
        '',
        answer.headers.get('content-type'),
      ]);
    }
  });

  test('every search parameter, its modifiers, and its chain', async () => {
    const VALUE: Readonly<Record<string, string>> = {
      token: 'x',
      reference: 'x',
      date: '2025',
      quantity: '5',
      composite: 'x$5',
      uri: 'x',
      string: 'x',
    };
    const parameters = claimed().searchParam ?? [];
    expect(parameters.length).toBeGreaterThan(1);
    for (const { name, type: kind, documentation = '', definition } of parameters) {
      expect(definition).toMatch(/^http:\/\/hl7\.org\/fhir\/SearchParameter\//);
      const value = VALUE[kind] ?? '';
      const [, modifiers = ''] = /Modifiers: ([^.]*)\./.exec(documentation) ?? [];
      const [, chain] = /Chain: ([^ ]*\.identifier)\./.exec(documentation) ?? [];
      const ways = [[name, value], ...(chain === undefined ? [] : [[chain, 'urn:x|y']])];
      for (const modifier of modifiers.split(' ').filter(Boolean))
        ways.push([name + modifier, modifier === ':missing' ? 'true' : value]);
      for (const [way = '', sent = ''] of ways) {
        const answer = await get(`/${type}?${new URLSearchParams([[way, sent]])}`);
        expect(answer.status, `${way}=${sent}: ${answer.text}`).toBe(200);
        const self = JSON.parse(answer.text).link[0].url;
        expect(new URL(self).searchParams.get(way), way).toBe(sent);
      }
    }
  });

  test('every include', async () => {
    expect([claimed().searchInclude, claimed().searchRevInclude]).toEqual(
      INCLUDES[type] ?? [undefined, undefined],
    );
    for (const [name, values = []] of [
      ['_include', claimed().searchInclude],
      ['_revinclude', claimed().searchRevInclude],
    ] as const)
      for (const value of values)
        expect((await get(`/${type}?${name}=${value}`)).status, `${name}=${value}`).toBe(200);
  });

  test('every operation', async () => {
    const asked: Readonly<Record<string, string>> = {
      lastn: 'patient=1&code=level',
      stats: 'subject=Patient/1&code=level&statistic=average',
    };
    const names = claimed().operation?.map(({ name }) => name) ?? [];
    expect(names.sort()).toEqual(type === 'Observation' ? Object.keys(asked).sort() : []);
    for (const name of names) expect((await get(`/${type}/$${name}?${asked[name]}`)).status, name).toBe(200);
  });
});

test('create and update, conditional and by version, and both kinds of Bundle', async () => {
  expect(observation).toMatchObject({
    conditionalCreate: true,
    versioning: 'versioned-update',
    updateCreate: false,
    conditionalUpdate: false,
  });
  const send = (method: string, path: string, body: object, headers: object = {}) =>
    service.send(method, `/fhir${path}`, body, { 'content-type': 'application/fhir+json', ...headers });
  const sent = raw.raw('in', 'seal-level', '10:00', raw.quantity(2, 'cm[H2O]'));
  const none = { 'if-none-exist': `identifier=${SYSTEM}|in` };
  const statuses = [];
  for (let i = 0; i < 2; i += 1) statuses.push((await send('POST', '/Observation', sent, none)).status);
  expect(statuses).toEqual([201, 200]);
  const { text } = await send('POST', '/Observation', sent, none);
  const { id } = JSON.parse(text);
  const update = { ...raw.raw('in', 'seal-level', '10:00', raw.quantity(3, 'cm[H2O]')), id };
  expect((await send('PUT', `/Observation/${id}`, update)).status).toBe(428);
  expect((await send('PUT', `/Observation/${id}`, update, { 'if-match': 'W/"1"' })).status).toBe(200);
  expect(
    (await send('PUT', '/Observation/x.y.z', { ...update, id: 'x.y.z' }, { 'if-match': 'W/"1"' })).status,
  ).toBe(405);
  expect((await send('PUT', '/Observation?identifier=x', update)).status).toBe(405);
  const claimed = statement.rest?.[0]?.interaction?.map(({ code }) => code) ?? [];
  expect(claimed).toEqual(['transaction', 'batch']);
  for (const type of ['transaction', 'batch'] as const)
    expect((await send('POST', '', raw.bundleOf(type, raw.create(sent)))).status).toBe(200);
});

describe('what it does not claim', () => {
  test('other interactions and types', async () => {
    const body = JSON.stringify({ resourceType: 'Observation' });
    const json = { 'content-type': 'application/fhir+json' };
    for (const [method, path, status] of [
      ['PUT', '/Observation', 405],
      ['POST', `/Observation/${someId}`, 405],
      ['DELETE', `/Observation/${someId}`, 405],
      ['PATCH', `/Observation/${someId}`, 405],
      ['PUT', '', 405],
      ['GET', '/Patient', 404],
      ['GET', '/Provenance/x', 404],
      ['GET', '/_history', 404],
      ['GET', '/Observation/$everything', 404],
    ] as const) {
      const sent = method === 'GET' || method === 'DELETE' ? undefined : body;
      const answer = await service.send(method, `/fhir${path}`, sent, sent === undefined ? {} : json);
      expect(answer.status, `${method} ${path}`).toBe(status);
      expect(problemsOf(JSON.parse(answer.text))).toEqual([]);
      if (status === 405) expect(answer.headers.get('allow')).toMatch(/GET|POST/);
    }
  });

  /** Every parameter that R4 gives Observation or all resources, and is not claimed. */
  const OTHERS = [
    'based-on',
    'combo-data-absent-reason',
    'combo-value-concept',
    'combo-value-quantity',
    'component-data-absent-reason',
    'component-value-concept',
    'component-value-quantity',
    'focus',
    'method',
    'part-of',
    'specimen',
    'value-concept',
    'value-date',
    'value-string',
    'code-value-concept',
    'code-value-date',
    'code-value-string',
    '_profile',
    '_tag',
    '_security',
    '_source',
    '_text',
    '_content',
    '_list',
    '_has:Provenance:target:agent',
    '_type',
    '_filter',
    '_query',
    '_contained',
    '_containedType',
    '_revinclude:iterate',
    '_include:iterate',
    '_sort',
    'patient.name',
    'subject:Patient.birthdate',
    'device.identifier.x',
  ];
  test.each(OTHERS)('%s is refused, and left out only where the client says so', async (name) => {
    const refusal = await search(name, 'Provenance:target');
    expect(refusal.status).toBe(400);
    expect(refusal.text).toContain(name.split(/[.:]/)[0]);
    expect(problemsOf(JSON.parse(refusal.text))).toEqual([]);
    // A chain is of a known parameter: never left out.
    if (/^(patient|subject|device)/.test(name)) return;
    const left = await get(`/Observation?${name}=x&code=level`, { prefer: 'handling=lenient' });
    expect(left.status).toBe(200);
    expect(left.headers.get('preference-applied')).toBe('handling=lenient');
    const bundle = JSON.parse(left.text);
    expect(problemsOf(bundle)).toEqual([]);
    expect(bundle.link[0].url).toMatch(/\/Observation\?code=level$/);
    expect(bundle.total).toBe(1);
    const [outcome] = bundle.entry.filter(
      (each: { search: { mode: string } }) => each.search.mode === 'outcome',
    );
    expect(outcome.resource.issue[0]).toMatchObject({ severity: 'warning', code: 'not-supported' });
  });

  test.each([
    'code:above=x',
    'code:text=x',
    'code:in=x',
    'status:exact=final',
    'code:not:exact=level',
    'patient:Patient:exact=1',
    'subject:Patient:exact.identifier=urn:x|y',
    'date:not=2025',
    'date:missing=maybe',
    'patient:Group=1',
    'patient=Group/1',
    'subject:Medication=1',
    'identifier:not=x',
    '_id:missing=true',
    'value-quantity:not=5',
    'date=zz2025-01-01',
    'value-quantity=zz5',
    'date=2025-02-30',
    'date=yesterday',
    'value-quantity=five',
    'code=',
    'code=a|b|c',
    'code-value-quantity=level',
    '_count=-1',
    '_count=x',
    '_count=1&_count=2',
    '_sort=date,-date',
    '_total=some',
    '_summary=short',
    '_elements=a b',
    '_summary=true&_elements=code',
    'patient=a/b/c',
  ])('%s is refused, lenient or not', async (query) => {
    const strict = await get(`/Observation?${query}`);
    expect(strict.status).toBe(400);
    expect(problemsOf(JSON.parse(strict.text))).toEqual([]);
    expect((await get(`/Observation?${query}`, { prefer: 'handling=lenient' })).status).toBe(400);
  });
});
