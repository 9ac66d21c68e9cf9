/**
 * A client that others wrote, driving a running service: fhir-kit-client 2.0.3. What it gets is judged by the published
 * definitions of R4.
 */
import type { Bundle, CapabilityStatement, Device, Observation, Parameters } from 'fhir/r4.js';
import { Client } from 'fhir-kit-client';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { problemsOf } from '../support/r4.ts';
import * as raw from './fhir-messages.ts';
import { id, placeDrain, SYSTEM } from './messages.ts';
import { STORY } from './rich-story.ts';
import { startTestService, type TestService } from './service.ts';

let service: TestService;
let client: Client;
const LOCAL = 'http://example.org/drainledger/CodeSystem/chest-drain-observation';

beforeAll(async () => {
  service = await startTestService({ DRAINLEDGER_ZONE: 'Europe/Berlin' });
  client = new Client({ baseUrl: `${service.url}/fhir` });
  const patient = { reference: 'Patient/1', identifier: id('patient-1') };
  const drain = await placeDrain(service, 'placed', '08:00', { patient });
  for (const message of STORY) {
    const { status, text } = await drain.enter(message);
    if (status !== 201) throw new Error(text);
  }
});
afterAll(() => service.stop());

const get = async <T>(answer: Promise<object> | undefined): Promise<T> => {
  const resource = await answer;
  expect(problemsOf(resource)).toEqual([]);
  return resource as T;
};
const idsOf = ({ entry = [] }: Bundle) => entry.map(({ resource }) => resource?.id);
const search = (searchParams: Record<string, string | string[]>, postSearch = false) =>
  get<Bundle<Observation>>(
    client.search({ resourceType: 'Observation', searchParams, options: { postSearch } }) as Promise<object>,
  );

async function walk(first: Bundle<Observation>): Promise<Bundle<Observation>[]> {
  const pages = [first];
  for (let page: Bundle<Observation> | undefined = first; page !== undefined; ) {
    const next = client.nextPage({ bundle: page as never });
    page = next === undefined ? undefined : await get<Bundle<Observation>>(next);
    if (page !== undefined) pages.push(page);
  }
  return pages;
}

test('the capability statement names the zone', async () => {
  const statement = await get<CapabilityStatement>(client.capabilityStatement());
  expect(statement).toMatchObject({ fhirVersion: '4.0.1', kind: 'instance' });
  expect(statement.rest?.[0]?.documentation).toContain('Europe/Berlin');
});

test.each([false, true])('search walked to the end, by form: %s', async (postSearch) => {
  const pages = await walk(
    await search({ patient: 'Patient/1', _count: '9', _total: 'accurate' }, postSearch),
  );
  const all = pages.flatMap(idsOf);
  expect(pages.length).toBeGreaterThan(5);
  expect(new Set(all).size).toBe(all.length);
  expect(pages.map(({ total }) => total)).toEqual(pages.map(() => all.length));
  expect(pages.slice(0, -1).every(({ entry }) => entry?.length === 9)).toBe(true);
  // Newest first by the end of the effective time.
  const ends = pages.flatMap(({ entry = [] }) =>
    entry.map(({ resource }) =>
      Date.parse(resource?.effectiveDateTime ?? resource?.effectivePeriod?.end ?? ''),
    ),
  );
  expect(ends).toEqual([...ends].sort((a, b) => b - a));
});

test('patient and code, and category and date, and identifier of the patient find the same things both ways', async () => {
  for (const params of [
    { patient: '1', code: `${LOCAL}|level` },
    { 'patient.identifier': `${SYSTEM}|patient-1`, category: 'exam', date: ['ge2025-03-01', 'lt2025-03-02'] },
    { subject: 'Patient/1', 'value-quantity': 'ge0.1|http://unitsofmeasure.org|L', _sort: 'date' },
    { code: 'level', _summary: 'true', _count: '3' },
    { code: 'reading', _include: 'Observation:has-member' },
  ]) {
    const [byUrl, byForm] = [await search(params), await search(params, true)];
    expect(byUrl.entry?.length).toBeGreaterThan(0);
    expect(idsOf(byForm)).toEqual(idsOf(byUrl));
  }
});

test('read, version read, history of one and of all', async () => {
  const found = await search({ code: 'level', status: 'corrected,amended' });
  const [first] = found.entry ?? [];
  const resourceId = first?.resource?.id ?? '';
  const read = await get<Observation>(client.read({ resourceType: 'Observation', id: resourceId }));
  expect(read).toEqual(first?.resource);
  const version = read.meta?.versionId ?? '';
  expect(Number(version)).toBeGreaterThan(1);
  const old = await get<Observation>(
    client.vread({ resourceType: 'Observation', id: resourceId, version: '1' }),
  );
  expect(old).toMatchObject({ meta: { versionId: '1' }, status: 'final' });
  const history = await get<Bundle>(client.history({ resourceType: 'Observation', id: resourceId }));
  expect(history).toMatchObject({ type: 'history', total: Number(version) });
  const all = await get<Bundle<Observation>>(client.history({ resourceType: 'Observation' }));
  const versions = (await walk(all)).flatMap(({ entry = [] }) =>
    entry.map(({ resource }) => `${resource?.id}/${resource?.meta?.versionId}`),
  );
  expect(new Set(versions).size).toBe(versions.length);
  expect(versions).toContain(`${resourceId}/1`);
});

test('$lastn and $stats by GET and by POST', async () => {
  const lastn = await get<Bundle<Observation>>(
    client.operation({
      name: 'lastn',
      resourceType: 'Observation',
      method: 'GET',
      input: { patient: 'Patient/1', code: 'level', max: 2 },
    }),
  );
  expect(lastn.entry).toHaveLength(2);
  const parameters = (parameter: object[]) => ({ resourceType: 'Parameters', parameter }) as never;
  const posted = parameters([
    { name: 'patient', valueString: 'Patient/1' },
    { name: 'code', valueString: 'level' },
    { name: 'max', valuePositiveInt: 2 },
  ]);
  expect(
    idsOf(await get<Bundle>(client.operation({ name: 'lastn', resourceType: 'Observation', input: posted }))),
  ).toEqual(idsOf(lastn));

  const input = parameters([
    { name: 'subject', valueUri: 'Patient/1' },
    { name: 'coding', valueCoding: { system: LOCAL, code: 'level' } },
    { name: 'period', valuePeriod: { start: '2025-03-01', end: '2025-03-01' } },
    { name: 'statistic', valueCode: 'maximum' },
    { name: 'statistic', valueCode: 'count' },
  ]);
  const stats = await get<Parameters>(
    client.operation({ name: 'stats', resourceType: 'Observation', input }),
  );
  const statistics = stats.parameter?.[0]?.resource as Observation;
  // The highest level that was charted in the story, and not withdrawn: 180 mL at 12:00.
  expect(statistics.component?.[0]?.valueQuantity).toMatchObject({ value: 180, code: 'mL' });
});

test('create, conditional create, update, batch and transaction', async () => {
  const body = (key: string, time: string, ml: number) =>
    raw.level(key, time, ml, { focus: [{ identifier: id('placed') }] }) as never;
  const created = await get<Observation>(
    client.create({ resourceType: 'Observation', body: body('fhir-1', '16:10', 200) }),
  );
  const headers = { 'If-None-Exist': `identifier=${SYSTEM}|fhir-1` };
  const options = { headers };
  const again = client.create({ resourceType: 'Observation', body: body('fhir-1', '16:10', 999), options });
  expect(await get<Observation>(again)).toEqual(created);
  const resourceId = created.id ?? '';
  const changed = { ...(body('fhir-1', '16:10', 190) as object), id: resourceId } as never;
  const ifMatch = { headers: { 'If-Match': 'W/"1"' } };
  const updated = await get<Observation>(
    client.update({ resourceType: 'Observation', id: resourceId, body: changed, options: ifMatch }),
  );
  expect(updated).toMatchObject({ status: 'corrected', valueQuantity: { value: 190 } });
  const transaction = raw.bundleOf('transaction', raw.create(body('fhir-2', '16:20', 210)));
  const stored = await get<Bundle>(client.transaction({ body: transaction as never }));
  expect(stored.entry?.[0]?.response?.status).toBe('201 Created');
  const batch = raw.bundleOf('batch', raw.create(body('fhir-2', '16:20', 210)), {
    request: { method: 'GET', url: `Observation/${resourceId}/_history` },
  });
  const answers = await get<Bundle>(client.batch({ body: batch as never }));
  expect(answers.entry?.map(({ response }) => response?.status)).toEqual(['200 OK', '200 OK']);
  expect(answers.entry?.[1]?.resource).toMatchObject({ resourceType: 'Bundle', total: 2 });
});

test('units and Provenance: searched both ways, read, and brought along with what they are about', async () => {
  const find = async (resourceType: string, searchParams: Record<string, string>) => {
    const ask = (postSearch: boolean) =>
      get<Bundle>(client.search({ resourceType, searchParams, options: { postSearch } }) as Promise<object>);
    const [byUrl, byForm] = [await ask(false), await ask(true)];
    expect(idsOf(byForm)).toEqual(idsOf(byUrl));
    expect(byUrl.entry?.length).toBeGreaterThan(0);
    return byUrl;
  };
  const [unit = ''] = idsOf(
    await find('Device', { 'patient.identifier': `${SYSTEM}|patient-1`, type: 'electronic' }),
  );
  const device = await get<Device>(client.read({ resourceType: 'Device', id: unit }));
  expect(device.type?.coding?.[0]?.code).toBe('electronic');
  const readOff = await find('Observation', {
    device: `Device/${unit}`,
    _include: 'Observation:device',
    _revinclude: 'Provenance:target',
  });
  const types = new Set(readOff.entry?.map(({ resource }) => resource?.resourceType));
  expect(types).toEqual(new Set(['Observation', 'Device', 'Provenance']));
  const told = await find('Provenance', {
    target: `Device/${unit}`,
    patient: 'Patient/1',
    agent: 'Practitioner/n1',
    recorded: 'ge2025',
  });
  const [first] = told.entry ?? [];
  const read = await get(client.read({ resourceType: 'Provenance', id: first?.resource?.id ?? '' }));
  expect(read).toEqual(first?.resource);
});

test('what cannot be answered comes as a valid OperationOutcome', async () => {
  const refusal = search({ colour: 'red' });
  await expect(refusal).rejects.toMatchObject({
    response: { status: 400, data: { resourceType: 'OperationOutcome' } },
  });
});
