/** Clients that we did not write drive the FHIR side; and what the CapabilityStatement claims is tried, each row of it. */
import type { Bundle, CapabilityStatement, CapabilityStatementRestResource, Observation } from 'fhir/r4.js';
import { Client } from 'fhir-kit-client';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { problemsOf } from '../support/r4.ts';
import { placeDrain, type TestDrain } from './messages.ts';
import { STORY } from './rich-story.ts';
import { startTestService, type TestService } from './service.ts';

let service: TestService;
let drain: TestDrain;
let client: Client;

beforeAll(async () => {
  service = await startTestService();
  drain = await placeDrain(service, 'client', '08:00', { patient: { reference: 'Patient/1' } });
  for (const message of STORY) {
    const { status, text } = await drain.enter(message);
    if (status !== 201) throw new Error(text);
  }
  client = new Client({ baseUrl: `${service.url}/fhir` });
});
afterAll(() => service.stop());

const observationsIn = (bundle: Bundle): Observation[] =>
  (bundle.entry ?? []).map(({ resource }) => resource as Observation);

/** All pages of a search, by the links that the server gives. */
async function everyPage(
  first: Bundle,
): Promise<{ readonly pages: number; readonly ids: readonly string[] }> {
  const ids: string[] = [];
  let pages = 0;
  for (let page: Bundle | undefined = first; page !== undefined; pages += 1) {
    expect(problemsOf(page)).toEqual([]);
    ids.push(...observationsIn(page).map(({ id = '' }) => id));
    page = ((await client.nextPage({ bundle: page as never })) as unknown as Bundle | undefined) ?? undefined;
  }
  return { pages, ids };
}

describe('fhir-kit-client', () => {
  const searchParams = { patient: 'Patient/1', _count: '50', _sort: '-date' };

  test('reads what the service can do', async () => {
    const statement = (await client.capabilityStatement()) as unknown as CapabilityStatement;
    expect(statement).toMatchObject({ resourceType: 'CapabilityStatement', fhirVersion: '4.0.1' });
    expect(problemsOf(statement)).toEqual([]);
  });

  test.each([
    ['GET', {}],
    ['POST', { postSearch: true }],
  ])('searches by %s and pages to the end, each resource once', async (_, options) => {
    const first = (await client.search({
      resourceType: 'Observation',
      searchParams,
      options,
    } as never)) as unknown as Bundle;
    const { pages, ids } = await everyPage(first);
    const counted = (await client.search({
      resourceType: 'Observation',
      searchParams: { patient: 'Patient/1', _summary: 'count' },
    })) as unknown as Bundle;
    expect(pages).toBeGreaterThan(2);
    expect(ids).toHaveLength(counted.total ?? 0);
    expect(new Set(ids).size).toBe(ids.length);
  });

  test('reads a version, a history, and the newest of each code', async () => {
    const found = (await client.search({
      resourceType: 'Observation',
      searchParams: { code: 'level', status: 'corrected,amended', _count: '1' },
    })) as unknown as Bundle;
    const [{ id = '', meta } = {} as Observation] = observationsIn(found);
    const version = Number(meta?.versionId);
    expect(version).toBeGreaterThan(1);
    const first = await client.vread({ resourceType: 'Observation', id, version: '1' });
    expect(first).toMatchObject({ id, meta: { versionId: '1' } });
    const history = (await client.history({ resourceType: 'Observation', id })) as unknown as Bundle;
    expect(history.entry).toHaveLength(version);
    const last = (await client.operation({
      resourceType: 'Observation',
      name: '$lastn',
      method: 'GET',
      input: { patient: 'Patient/1', category: 'exam', max: '1' },
    } as never)) as unknown as Bundle;
    const codes = observationsIn(last).map(({ code }) => code.text);
    expect(codes.length).toBeGreaterThan(20);
    // One of each, though several carry a standard coding beside ours: no two of our codes are one group.
    expect(codes.filter((code, n) => codes.indexOf(code) !== n)).toEqual([]);
    expect(codes).toContain('Chest drainage rate');
  });
});

describe('the CapabilityStatement', () => {
  let rows: readonly CapabilityStatementRestResource[];
  beforeAll(async () => {
    const statement = JSON.parse((await service.send('GET', '/fhir/metadata')).text) as CapabilityStatement;
    rows = statement.rest?.[0]?.resource ?? [];
  });

  /** A value that any parameter of a type takes. */
  const VALUE: Readonly<Record<string, string>> = {
    token: 'x',
    reference: '1',
    date: '2026-03-01',
    quantity: '5',
    composite: 'level$5',
    string: 'x',
    uri: 'http://example.org/x',
  };

  test('claims nothing that is not there: every interaction, parameter and include of it is answered', async () => {
    expect(rows.length).toBeGreaterThan(0);
    for (const { type, interaction = [], searchParam = [], searchInclude = [] } of rows) {
      for (const { name, type: kind } of searchParam) {
        const { status, text } = await service.send(
          'GET',
          `/fhir/${type}?${name}=${encodeURIComponent(VALUE[kind] ?? 'x')}`,
        );
        expect(status, `${type} ${name}: ${text}`).toBe(200);
      }
      for (const include of searchInclude) {
        const { status } = await service.send('GET', `/fhir/${type}?_include=${encodeURIComponent(include)}`);
        expect(status, include).toBe(200);
      }
      const codes = interaction.map(({ code }) => code);
      if (codes.includes('history-type'))
        expect((await service.send('GET', `/fhir/${type}/_history`)).status).toBe(200);
      if (codes.includes('read')) expect((await service.send('GET', `/fhir/${type}/none`)).status).toBe(404);
    }
  });

  test('hides nothing that is: what it does not claim is refused, not ignored', async () => {
    const claimed = new Set(rows.flatMap(({ searchParam = [] }) => searchParam.map(({ name }) => name)));
    // Parameters of Observation in R4 (searchparameter-registry.html, from memory) and of any resource.
    const others = [
      'based-on',
      'focus',
      'method',
      'part-of',
      'specimen',
      'value-string',
      '_tag',
      '_profile',
      '_security',
      '_source',
      '_text',
      '_has:Provenance:target:agent',
      '_list',
    ];
    for (const name of others.filter((each) => !claimed.has(each))) {
      const { status, text } = await service.send('GET', `/fhir/Observation?${name}=x`);
      expect(status, name).toBe(400);
      expect(JSON.parse(text).issue[0].code, name).toBe('not-supported');
    }
    for (const method of ['PUT', 'PATCH', 'DELETE']) {
      expect((await service.send(method, '/fhir/Observation/none')).status).toBe(405);
    }
  });
});
