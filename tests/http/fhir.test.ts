/** The FHIR side: every issued text, judged by the published definitions of R4, and how it can be read. */
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { FACT_CODES } from '../../src/fhir/codes.ts';
import { problemsOf } from '../support/r4.ts';
import { entry, level, placeDrain, SYSTEM, setUp, type TestDrain } from './messages.ts';
import { STORY } from './rich-story.ts';
import { startTestService, type TestService } from './service.ts';

let service: TestService;
let drain: TestDrain;
/** Id of an entry by its key, and how many Observations all entries issued. */
const anchors = new Map<string, string>();
let issued = 0;

const FHIR_JSON = 'application/fhir+json; charset=utf-8';
const get = (path: string) => service.send('GET', `/fhir${path}`);

beforeAll(async () => {
  service = await startTestService();
  drain = await placeDrain(service, 'placed', '08:00', {
    patient: { reference: 'Patient/1' },
    encounter: { identifier: { system: SYSTEM, value: 'stay-1' } },
  });
  const right = await placeDrain(service, 'placed-right', '08:00', {
    patient: { reference: 'Patient/1' },
    site: 'pleural-right',
  });
  const enter = async (into: TestDrain, message: object | string) => {
    const { status, text } = await into.enter(message);
    if (status !== 201) throw new Error(`${JSON.stringify(message)}: ${text}`);
    const receipt = JSON.parse(text);
    anchors.set(receipt.identifier.value, receipt.entry);
    issued += receipt.observations;
  };
  // A second drain of the patient, so that its sums are issued too.
  for (const message of [
    setUp('right-up', '08:00', 0),
    level('right-1', '09:00', 40),
    level('right-2', '10:30', 90),
    entry('right-out', 'removed', '17:00'),
  ])
    await enter(right, message);
  for (const message of STORY) await enter(drain, message);
});
afterAll(() => service.stop());

const resourceId = (name: string, key: string): string => `${name}.${drain.drain}.${anchors.get(key)}`;

interface Observation {
  readonly id: string;
  readonly meta: { readonly versionId: string };
  readonly status: string;
  readonly subject?: { readonly reference: string };
  readonly code: { readonly coding: readonly { readonly system: string; readonly code: string }[] };
}
interface History {
  readonly id: string;
  readonly text: string;
  readonly total: number;
  readonly versions: readonly Observation[];
}

let histories: Promise<readonly History[]> | undefined;

/** Read once, for all tests. */
function allHistories(): Promise<readonly History[]> {
  histories ??= readHistories();
  return histories;
}

async function readHistories(): Promise<readonly History[]> {
  const all = JSON.parse((await get('/Observation/_history?_count=1000')).text);
  const ids = new Set<string>(all.entry.map(({ resource }: { resource: Observation }) => resource.id));
  const found = await Promise.all(
    [...ids].map(async (each) => ({ each, answer: await get(`/Observation/${each}/_history`) })),
  );
  return found.flatMap(({ each, answer: { status, text } }) => {
    if (status === 404) return [];
    const { total, entry: entries } = JSON.parse(text) as {
      total: number;
      entry: readonly { resource: Observation }[];
    };
    return [{ id: each, text, total, versions: entries.map(({ resource }) => resource) }];
  });
}

test('every issued version and every history Bundle is valid R4, and all that was issued can be read', async () => {
  const all = await allHistories();
  expect(all.reduce((sum, { total }) => sum + total, 0)).toBe(issued);
  expect(
    all.flatMap(({ id: each, text }) => problemsOf(JSON.parse(text)).map((p) => `${each}: ${p}`)),
  ).toEqual([]);
  const names = new Set(all.map(({ id: each }) => each.split('.')[0]));
  expect([...names].sort()).toEqual(Object.keys(FACT_CODES).sort());
  const statuses = new Set(all.flatMap(({ versions }) => versions.map(({ status }) => status)));
  expect([...statuses].sort()).toEqual(['amended', 'corrected', 'entered-in-error', 'final', 'preliminary']);
}, 120_000);

test('9129-8 stands on the per-interval fact alone', async () => {
  const all = await allHistories();
  const coded = all.filter(({ text }) => text.includes('"9129-8"')).map(({ id: each }) => each.split('.')[0]);
  expect(new Set(coded)).toEqual(new Set(['net-drainage']));
  for (const { versions } of all.filter(({ id: each }) => each.startsWith('net-drainage.'))) {
    for (const { code } of versions) {
      expect(code.coding.filter(({ system }) => system === 'http://loinc.org')).toMatchObject([
        { code: '9129-8' },
      ]);
    }
  }
});

test('digits stay as they were charted', async () => {
  const first = async (name: string, key: string) =>
    (await get(`/Observation/${resourceId(name, key)}/_history/1`)).text;
  expect(await first('level', 'r1')).toContain('"valueQuantity":{"value":20.0,');
  expect(await first('imposed-suction', 'r1')).toContain('"value":20.0,');
  expect(await first('seal-level', 'r1')).toContain('"value":4.50,');
  expect(await first('body-weight', 'weight')).toContain('"value":70.50,');
  expect(await first('measured-pressure', 'r5')).toContain('"value":-18.2,');
});

describe('read, version read, history', () => {
  test('the newest, each one by its number, all newest first', async () => {
    const path = `/Observation/${resourceId('level', 'r1')}`;
    const newest = await get(path);
    const { meta, status } = JSON.parse(newest.text);
    // The correction made version 2; the link to the patient's identifier re-issued all facts.
    expect(status).toBe('amended');
    expect(Number(meta.versionId)).toBe(3);
    expect(JSON.parse((await get(`${path}/_history/2`)).text).status).toBe('corrected');
    expect(newest.headers.get('content-type')).toBe(FHIR_JSON);
    expect(newest.headers.get('etag')).toBe(`W/"${meta.versionId}"`);
    expect(newest.headers.get('last-modified')).toBe(new Date(meta.lastUpdated).toUTCString());

    const version = await get(`${path}/_history/${meta.versionId}`);
    expect(version).toMatchObject({ status: 200, text: newest.text });
    const first = await get(`${path}/_history/1`);
    expect(first.headers.get('etag')).toBe('W/"1"');

    const history = await get(`${path}/_history`);
    expect(history.headers.get('content-type')).toBe(FHIR_JSON);
    const bundle = JSON.parse(history.text);
    expect(bundle).toMatchObject({ type: 'history', total: Number(meta.versionId) });
    const numbers = bundle.entry.map((each: { resource: Observation }) => each.resource.meta.versionId);
    expect(numbers).toEqual([...numbers].sort((a, b) => Number(b) - Number(a)));
    expect(history.text).toContain(newest.text);
    expect(history.text).toContain(first.text);
    expect(history.text).toContain('"value":20.0,');
  });

  test('what was entered in error says so, and keeps its earlier version', async () => {
    const path = `/Observation/${resourceId('level', 'r6')}`;
    expect(JSON.parse((await get(path)).text).status).toBe('entered-in-error');
    expect(JSON.parse((await get(`${path}/_history/1`)).text)).toMatchObject({ status: 'final' });
  });

  test('HEAD answers the same headers', async () => {
    const path = `/fhir/Observation/${resourceId('level', 'r2')}`;
    const head = await service.send('HEAD', path);
    expect(head.text).toBe('');
    expect(head.headers.get('etag')).toBe((await service.send('GET', path)).headers.get('etag'));
  });
});

describe('errors are valid OperationOutcomes', () => {
  const known = () => resourceId('level', 'r1');
  test.each([
    ['an unknown id', 'GET', () => '/Observation/none', 404, 'not-found'],
    ['an id like ours', 'GET', () => `/Observation/level.${drain.drain}.aaaa`, 404, 'not-found'],
    ['an id with a quote', 'GET', () => `/Observation/level.${drain.drain}.%22'--`, 404, 'not-found'],
    ['an unknown version', 'GET', () => `/Observation/${known()}/_history/99`, 404, 'not-found'],
    ['a version that is no number', 'GET', () => `/Observation/${known()}/_history/01`, 404, 'not-found'],
    ['an unknown history', 'GET', () => '/Observation/none/_history', 404, 'not-found'],
    ['an unknown type', 'GET', () => '/Patient/1', 404, 'not-found'],
    ['the base read', 'GET', () => '', 405, 'not-supported'],
    ['a delete', 'DELETE', () => `/Observation/${known()}`, 405, 'not-supported'],
    ['an unknown parameter', 'GET', () => `/Observation/${known()}?_sort=date`, 400, 'not-supported'],
    ['another format', 'GET', () => '/metadata?_format=xml', 406, 'not-supported'],
    ['a path that cannot be read', 'GET', () => '/Observation/%zz', 400, 'structure'],
    ['an id that is too long', 'GET', () => `/Observation/${'x'.repeat(200)}`, 414, 'too-long'],
  ])('%s', async (_name, method, path, status, code) => {
    const answer = await service.send(method, `/fhir${path()}`);
    expect(answer.status).toBe(status);
    expect(answer.headers.get('content-type')).toBe(FHIR_JSON);
    const outcome = JSON.parse(answer.text);
    expect(problemsOf(outcome)).toEqual([]);
    expect(outcome.issue).toEqual([expect.objectContaining({ severity: 'error', code })]);
    if (method === 'DELETE')
      expect(answer.headers.get('allow')?.split(', ').sort()).toEqual(['GET', 'HEAD', 'PUT']);
  });
});

test('the patient that a drain is linked to is the subject of its Observations', async () => {
  const { text } = await get(`/Observation/${resourceId('level', 'r2')}`);
  expect(JSON.parse(text).subject).toEqual({
    reference: 'Patient/1',
    identifier: { system: SYSTEM, value: 'patient-1' },
  });
});
