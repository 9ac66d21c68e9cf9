/**
 * AuditEvents: one of each entry of the ledger, by the patterns of IHE BALP and the published definitions of R4.
 * Search parameters: FHIR R4 auditevent.html#search; what a repository has to answer: BALP AuditRecordRepository.
 */
import type { AuditEvent, Bundle } from 'fhir/r4.js';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { problemsOf } from '../support/r4.ts';
import { type Guarded, startGuarded } from './access-control.ts';
import { brokenPatterns } from './balp.ts';
import * as raw from './fhir-messages.ts';
import { entry, id, level, placement, SYSTEM, setUp, voided } from './messages.ts';

let guarded: Guarded;
let nurse: string;
let auditor: string;
let drain: string;
let other: string;

beforeAll(async () => {
  guarded = await startGuarded();
  nurse = await guarded.token({ scope: 'system/*.cruds', client_id: 'ward-app', sub: 'nurse-7', jti: 't-1' });
  auditor = await guarded.token({ scope: 'system/AuditEvent.rs', client_id: 'audit-app' });
  const place = async (key: string, patient: object) =>
    JSON.parse((await send('POST', '/v1/drains', placement(key, '08:00', { patient }))).text).drain as string;
  drain = await place('one', { reference: 'Patient/1', identifier: id('mrn-1') });
  other = await place('two', { identifier: id('mrn-2') });
  for (const message of [
    setUp('up', '08:00', 0),
    level('r1', '09:00', 50),
    level('r2', '10:00', 60),
    entry('clamp', 'clamped', '10:10'),
    voided('v1', 'r2'),
  ])
    expect(
      (await send('POST', `/v1/drains/${drain}/entries`, message, { 'x-request-id': 'rq-1' })).status,
    ).toBe(201);
  await send(
    'POST',
    '/fhir/Observation',
    raw.level('f1', '11:00', 70, { focus: [{ identifier: id('one') }], subject: { reference: 'Patient/1' } }),
  );
  for (const path of [
    `/v1/drains/${drain}/chart`,
    `/v1/drains/${other}/state`,
    '/v1/overview',
    '/v1/drains/nowhere/chart',
  ])
    await send('GET', path);
  await send('GET', '/fhir/Observation?patient=1&code=level', undefined, { 'x-request-id': 'rq-2' });
  await send('GET', '/fhir/Observation?code=none');
  await send('GET', '/fhir/Observation/_history?_count=1000');
  const confined = await guarded.token({
    scope: 'patient/Observation.rs',
    patient: '2',
    client_id: 'confined',
  });
  await guarded.send(confined, 'GET', `/v1/drains/${drain}/chart`);
  await guarded.send('nobody', 'GET', `/v1/drains/${drain}/chart`);
  for (let n = 0; n < 3; n += 1) await send('GET', `/v1/drains/${drain}/chart`);
});
afterAll(() => guarded.stop());

const send = (method: string, path: string, body?: object, headers: object = {}) =>
  guarded.send(nurse, method, path, body, headers);

async function found(query: string): Promise<AuditEvent[]> {
  const { status, text } = await guarded.send(auditor, 'GET', `/fhir/AuditEvent?_count=1000&${query}`);
  if (status !== 200) throw new Error(text);
  return ((JSON.parse(text) as Bundle<AuditEvent>).entry ?? []).flatMap(({ resource }) => resource ?? []);
}
const profiles = (events: readonly AuditEvent[]) =>
  events.map(({ meta }) => meta?.profile?.[0]?.split('IHE.BasicAudit.')[1] ?? null);

test('every entry of the ledger is one, in its order, valid R4, and as the BALP profile that it names asks', async () => {
  const all = await found('_sort=_lastUpdated');
  const places = all.map((each) => Number(each.id));
  expect(places).toEqual(places.map((_, n) => n));
  expect(all.flatMap((each) => problemsOf(each))).toEqual([]);
  expect(all.flatMap((each) => brokenPatterns(each))).toEqual([]);
  const named = new Set(profiles(all));
  for (const pattern of ['Create', 'Read', 'Query'])
    expect([named.has(`Patient${pattern}`), pattern], pattern).toEqual([true, pattern]);
  expect([named.has('PatientUpdate'), named.has('Query'), named.has(null)]).toEqual([true, true, true]);
});

test('a pattern that is broken is seen', async () => {
  const [event] = await found('subtype=create');
  if (event === undefined) throw new Error('no write');
  expect(brokenPatterns({ ...event, outcome: '4' })).toEqual(["outcome = '0'"]);
  expect(brokenPatterns({ ...event, agent: event.agent.slice(1) }).length).toBeGreaterThan(0);
  expect(brokenPatterns({ ...event, entity: event.entity?.slice(1) ?? [] }).length).toBeGreaterThan(0);
});

test('a write says which client sent what who charted, for whom, and what came of it', async () => {
  const [event, ...rest] = await found(`entity:identifier=${SYSTEM}|r1`);
  expect(rest).toEqual([]);
  expect(event).toMatchObject({
    action: 'C',
    subtype: [{ code: 'create' }],
    outcome: '0',
    agent: [
      {
        who: { identifier: { value: 'ward-app' } },
        policy: ['urn:ietf:params:oauth:jti:t-1'],
        network: { address: '127.0.0.1' },
      },
      { who: { identifier: { value: 'test.example' } } },
      { who: { reference: 'Practitioner/n1' }, requestor: true },
      { who: { identifier: { value: 'nurse-7' } }, requestor: false },
    ],
  });
  expect(event?.agent.filter(({ requestor }) => requestor)).toHaveLength(1);
  const [patient, data, request] = event?.entity ?? [];
  expect(patient?.what).toEqual({ reference: 'Patient/1', identifier: id('mrn-1'), type: 'Patient' });
  expect(request?.what?.identifier?.value).toBe('rq-1');
  const provenance = await send('GET', `/fhir/${data?.what?.reference}`);
  expect(JSON.parse(provenance.text).entity[0].what.identifier).toEqual(id('r1'));
});

test('what a correction or withdrawal does is an update, and what issues nothing is still told', async () => {
  expect(await found(`entity:identifier=${SYSTEM}|v1`)).toMatchObject([
    { action: 'U', subtype: [{ code: 'update' }] },
  ]);
  const [clamp] = await found(`entity:identifier=${SYSTEM}|clamp`);
  expect(clamp?.entity?.[1]?.what).toEqual({ identifier: id('clamp') });
  expect(profiles([clamp as AuditEvent])).toEqual(['PatientCreate']);
});

test('a query is kept as it was asked', async () => {
  const [event] = await found(`patient=1&subtype=search-type&entity:identifier=rq-2`);
  const query = event?.entity?.find(({ role }) => role?.code === '24')?.query ?? '';
  expect(Buffer.from(query, 'base64').toString()).toBe('GET /fhir/Observation?patient=1&code=level');
});

test('what showed several patients is one for each', async () => {
  const overviews = (await found('')).filter(({ entity }) =>
    entity?.some(({ description }) => description === 'overview'),
  );
  expect(overviews.map(({ entity }) => entity?.[0]?.what?.identifier?.value).sort()).toEqual([
    'mrn-1',
    'mrn-2',
  ]);
});

test('a refusal is kept with its outcome, of another patient and of whoever is not known', async () => {
  const refused = await found('outcome=4');
  expect(profiles(refused).filter((each) => each !== null)).toEqual([]);
  expect(refused.map(({ agent, outcomeDesc }) => [agent[0]?.who?.identifier?.value, outcomeDesc])).toEqual([
    [undefined, 'answered with HTTP status 401'],
    ['confined', 'answered with HTTP status 403'],
    ['ward-app', 'answered with HTTP status 404'],
  ]);
});

describe('found by', () => {
  test.each([
    ['patient', 'patient=Patient/1', 'patient=3'],
    ['its identifier', `patient:identifier=${SYSTEM}|mrn-2`, `patient.identifier=${SYSTEM}|mrn-3`],
    ['client', 'agent:identifier=ward-app', 'agent.identifier=x'],
    ['who works with it', 'agent:identifier=nurse-7', 'agent:identifier=nurse-8'],
    ['who charted', 'agent=Practitioner/n1', 'agent=Practitioner/n9'],
    ['time', 'date=gt2020-01-01', 'date=lt2020-01-01'],
    ['address', 'address=127.0', 'address=27.0.0.1'],
    ['name of the service', 'address=TEST.ex', 'address=example'],
    ['type', 'type=http://terminology.hl7.org/CodeSystem/audit-event-type|rest', 'type=110106'],
    ['subtype', 'subtype=read', 'subtype=delete'],
    ['action', 'action=U', 'action=D'],
    ['outcome', 'outcome=4', 'outcome=8'],
    ['kind of entity', 'entity-type=1', 'entity-type=4'],
    ['role of entity', 'entity-role=24', 'entity-role=20'],
    ['who recorded it', 'source:identifier=test.example', 'source.identifier=x'],
  ])('%s', async (_name, some, none) => {
    expect((await found(some)).length).toBeGreaterThan(0);
    expect(await found(none)).toEqual([]);
  });

  test('drain, as each access named it', async () => {
    const system = 'http://example.org/drainledger/drain';
    const ofDrain = await found(`entity:identifier=${system}|${drain}&subtype=read`);
    expect(ofDrain.length).toBeGreaterThan(1);
    expect(ofDrain.every((each) => JSON.stringify(each).includes(drain))).toBe(true);
  });
});

test('it is read by its id, and by nobody who is confined or has another scope', async () => {
  const { status, text, headers } = await guarded.send(auditor, 'GET', '/fhir/AuditEvent/3');
  expect([status, JSON.parse(text).id, headers.get('etag')]).toEqual([200, '3', 'W/"1"']);
  expect((await guarded.send(auditor, 'GET', '/fhir/AuditEvent/999999')).status).toBe(404);
  expect((await guarded.send(auditor, 'GET', '/fhir/Observation?code=level')).status).toBe(403);
  const reader = await guarded.token({ scope: 'system/Observation.rs' });
  const patient = await guarded.token({ scope: 'patient/*.rs', patient: '1' });
  for (const token of [reader, patient])
    for (const path of ['/fhir/AuditEvent?patient=1', '/fhir/AuditEvent/3'])
      expect((await guarded.send(token, 'GET', path)).status, path).toBe(403);
  for (const method of ['POST', 'PUT', 'DELETE'])
    expect((await guarded.send(auditor, method, '/fhir/AuditEvent/3', {})).status).toBe(405);
});

test('asking for them is an access as well', async () => {
  const before = (await found('agent:identifier=audit-app')).length;
  await found('agent:identifier=audit-app&subtype=vread');
  expect((await found('agent:identifier=audit-app')).length).toBeGreaterThan(before);
});

test('pages hold each once, though reading them adds to the ledger', async () => {
  const ids: string[] = [];
  let path: string | undefined = '/fhir/AuditEvent?_count=7&_sort=date';
  while (path !== undefined) {
    const page = JSON.parse((await guarded.send(auditor, 'GET', path)).text) as Bundle<AuditEvent>;
    ids.push(...(page.entry ?? []).map(({ resource }) => resource?.id ?? ''));
    const next = page.link?.find(({ relation }) => relation === 'next')?.url;
    path = next?.slice(next.indexOf('/fhir'));
  }
  expect(new Set(ids).size).toBe(ids.length);
  expect(ids.map(Number)).toEqual([...ids.keys()]);
});
