/**
 * A second client that others wrote, as web apps of a record use it: fhirclient 2.6.3 (SMART on FHIR's own JavaScript
 * client). It follows links and references by itself, and reads a JSON body by its own idea of what FHIR's media type is.
 */
import { createRequire } from 'node:module';
import type { Bundle, FhirResource, Observation, Provenance } from 'fhir/r4.js';
import type * as Client from 'fhirclient/lib/FhirClient.js';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { problemsOf } from '../support/r4.ts';
import * as raw from './fhir-messages.ts';
import { id, placeDrain } from './messages.ts';
import { STORY } from './rich-story.ts';
import { startTestService, type TestService } from './service.ts';

// A CommonJS package, whose default export a test runner and Node each see elsewhere.
const { default: FhirClient }: (typeof Client)['default'] = createRequire(import.meta.url)(
  'fhirclient/lib/FhirClient.js',
);

let service: TestService;
let client: InstanceType<typeof FhirClient>;

beforeAll(async () => {
  service = await startTestService();
  client = new FhirClient(`${service.url}/fhir`);
  const drain = await placeDrain(service, 'placed', '08:00', {
    patient: { reference: 'Patient/1', identifier: id('patient-1') },
  });
  for (const message of STORY) {
    const { status, text } = await drain.enter(message);
    if (status !== 201) throw new Error(text);
  }
});
afterAll(() => service.stop());

async function ask<T extends FhirResource>(url: string, options: object = {}): Promise<T> {
  const resource = await client.fhirRequest<T>(url, options);
  expect(problemsOf(resource)).toEqual([]);
  return resource;
}
const post = (body: string, type: string) => ({ method: 'POST', headers: { 'content-type': type }, body });
const idsOf = ({ entry = [] }: Bundle) => entry.map(({ resource }) => resource?.id);

test('it sees R4 in the capability statement', async () => {
  expect([await client.getFhirVersion(), await client.getFhirRelease()]).toEqual(['4.0.1', 4]);
});

test('it walks a search to its end by the links alone, and a search by form finds the same', async () => {
  const query = 'patient=1&code=level,net-drainage&_count=7';
  const walked: (string | undefined)[] = [];
  let pages = 0;
  for await (const page of client.pages(`Observation?${query}`)) {
    expect(problemsOf(page)).toEqual([]);
    walked.push(...idsOf(page));
    pages += 1;
  }
  expect(pages).toBeGreaterThan(2);
  expect(new Set(walked).size).toBe(walked.length);
  const whole = query.replace('_count=7', '_count=1000');
  const form = post(whole, 'application/x-www-form-urlencoded');
  expect(walked).toEqual(idsOf(await ask<Bundle>('Observation/_search', form)));
});

test('it resolves what a volume was derived from, and what a reading groups', async () => {
  const { entry = [] } = await ask<Bundle<Observation>>('Observation?patient=1&code=net-drainage&_count=1');
  const [net] = entry.map(({ resource }) => resource);
  if (net === undefined) throw new Error('the story has no net drainage');
  const sources = Object.values(await client.getReferences(net, ['derivedFrom'])) as Observation[];
  expect(sources.length).toBe(net.derivedFrom?.length);
  expect(sources.length).toBeGreaterThan(0);
  for (const source of sources)
    expect(source).toMatchObject({ resourceType: 'Observation', subject: { reference: 'Patient/1' } });
});

test('version read, history, and the Provenance of each version', async () => {
  const { entry = [] } = await ask<Bundle<Observation>>('Observation?code=level&status=corrected,amended');
  const place = `Observation/${entry[0]?.resource?.id}`;
  const first = await ask<Observation>(`${place}/_history/1`);
  expect(first).toMatchObject({ meta: { versionId: '1' }, status: 'final' });
  const history = await ask<Bundle<Observation>>(`${place}/_history`);
  expect(history.total).toBeGreaterThan(1);
  expect(history.entry?.at(-1)?.resource).toEqual(first);
  const told = await ask<Bundle<Provenance>>(`Provenance?target=${place}`);
  expect(told.entry?.length).toBe(history.total);
});

test('$lastn', async () => {
  const lastn = await ask<Bundle>('Observation/$lastn?patient=1&code=level&max=2');
  const newest = await ask<Bundle>('Observation?patient=1&code=level&_sort=-date&_count=2');
  expect(idsOf(lastn)).toHaveLength(2);
  expect(idsOf(lastn)).toEqual(idsOf(newest));
});

test('create, update by version, batch and transaction', async () => {
  const body = (key: string, ml: number) =>
    raw.level(key, '16:10', ml, { focus: [{ identifier: id('placed') }] }) as never;
  const created = await client.create<Observation>(body('smart-1', 200));
  expect(created).toMatchObject({
    meta: { versionId: '1' },
    identifier: expect.arrayContaining([id('smart-1')]),
  });
  const changed = { ...(body('smart-1', 190) as object), id: created.id } as never;
  const updated = await client.update<Observation>(changed, { headers: { 'if-match': 'W/"1"' } });
  expect(updated).toMatchObject({ id: created.id, status: 'corrected', valueQuantity: { value: 190 } });
  for (const [type, status] of [
    ['transaction', '201 Created'],
    ['batch', '200 OK'],
  ] as const) {
    const bundle = raw.bundleOf(type, raw.create(body('smart-2', 210)));
    const answer = await ask<Bundle>('', post(JSON.stringify(bundle), 'application/fhir+json'));
    expect(answer.entry?.[0]?.response?.status).toBe(status);
  }
});

test('it shows the reason of a refusal in our words', async () => {
  const refusal = { status: 400, message: expect.stringContaining('colour') };
  await expect(client.fhirRequest('Observation?colour=red')).rejects.toMatchObject(refusal);
});
