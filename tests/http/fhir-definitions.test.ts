/** Our own CodeSystems, ValueSets and profiles as they are served and shipped. */
import { readdirSync, readFileSync } from 'node:fs';
import type { Bundle, CapabilityStatement, CodeSystem } from 'fhir/r4.js';
import { Client } from 'fhir-kit-client';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { FACT_CODES } from '../../src/fhir/codes.ts';
import { definitions } from '../../src/fhir/definitions/definitions.ts';
import { RAW_CODES } from '../../src/fhir/raw-codes.ts';
import { VALUE_CODES } from '../../src/fhir/value-codes.ts';
import { DEFAULT_TABLE } from '../../src/rules/default-table.ts';
import { problemsOf } from '../support/r4.ts';
import { startTestService, type TestService } from './service.ts';

const CANONICAL = 'http://example.org/drainledger';
const ALL = definitions(CANONICAL, DEFAULT_TABLE);
const FOLDER = new URL('../../openapi/fhir/', import.meta.url);
const TYPES = ['CodeSystem', 'ValueSet', 'StructureDefinition'] as const;

let service: TestService;
let client: Client;
beforeAll(async () => {
  service = await startTestService();
  client = new Client({ baseUrl: `${service.url}/fhir` });
});
afterAll(() => service.stop());

const get = (path: string) => service.send('GET', `/fhir${path}`);

test('the shipped files are what the code gives, and no others; else: npm run openapi', () => {
  const files = Object.fromEntries(
    readdirSync(FOLDER).map((name) => [name, readFileSync(new URL(name, FOLDER), 'utf8')]),
  );
  const expected = ALL.map((each): [string, string] => [
    `${each.resourceType}-${each.id}.json`,
    `${JSON.stringify(each, null, 2)}\n`,
  ]);
  expect(Object.keys(files).sort()).toEqual(expected.map(([name]) => name).sort());
  for (const [name, text] of expected) expect(files[name] === text, name).toBe(true);
});

test('a client of others finds each by its URL, both ways, and reads it', async () => {
  for (const each of ALL) {
    const { resourceType, id = '', url = '' } = each;
    for (const postSearch of [false, true]) {
      const search = { resourceType, searchParams: { url }, options: { postSearch } };
      const bundle = (await client.search(search)) as unknown as Bundle;
      expect(bundle.entry?.map(({ resource }) => resource)).toEqual([each]);
    }
    expect(await client.read({ resourceType, id })).toEqual(each);
  }
});

test.each(TYPES)('%s: all of them, page by page, in the order of their ids', async (resourceType) => {
  const ids: (string | undefined)[] = [];
  const first: unknown = await client.search({ resourceType, searchParams: { _count: '7' } });
  let page = first as Bundle | undefined;
  while (page !== undefined) {
    expect(problemsOf(page)).toEqual([]);
    expect(page.entry?.length).toBeLessThanOrEqual(7);
    ids.push(...(page.entry ?? []).map(({ resource }) => resource?.id));
    const next: unknown = await client.nextPage({ bundle: page as never });
    page = next as Bundle | undefined;
  }
  const held = ALL.filter((each) => each.resourceType === resourceType).map(({ id }) => id);
  expect(ids).toEqual(held.sort());
  const { text } = await get(`/${resourceType}?_sort=-_id&_count=2`);
  expect(JSON.parse(text).entry.map(({ resource }: { resource: { id: string } }) => resource.id)).toEqual(
    held.toReversed().slice(0, 2),
  );
});

test('summaries and counts', async () => {
  const counted = JSON.parse((await get('/StructureDefinition?_summary=count')).text);
  expect([counted.total, counted.entry]).toEqual([Object.keys(FACT_CODES).length + 2, undefined]);
  const { text } = await get('/CodeSystem/chest-drain-flag?_summary=true');
  const short = JSON.parse(text);
  expect(short.concept).toBeUndefined();
  expect([short.content, short.meta.tag[0].code]).toEqual(['complete', 'SUBSETTED']);
  expect(problemsOf(short)).toEqual([]);
});

test.each([
  ['/CodeSystem/none', 404],
  ['/CodeSystem?name=x', 400],
  ['/CodeSystem?url:below=http://example.org', 400],
  ['/CodeSystem?_sort=url', 400],
  ['/CodeSystem?_page=x', 400],
  ['/CodeSystem/chest-drain-flag/_history', 404],
  ['/CodeSystem?_include=CodeSystem:x', 400],
])('%s: %i with a valid OperationOutcome', async (path, status) => {
  const answer = await get(path);
  expect(answer.status).toBe(status);
  expect(problemsOf(JSON.parse(answer.text))).toEqual([]);
});

test('a search that fits nothing is empty', async () => {
  const bundle = JSON.parse((await get('/ValueSet?url=http://example.org/none')).text);
  expect([bundle.total, bundle.entry]).toEqual([0, undefined]);
  expect(JSON.parse((await get('/ValueSet?url:missing=true')).text).total).toBe(0);
});

test('the capability statement says that they have no versions', async () => {
  const statement = JSON.parse((await get('/metadata')).text) as CapabilityStatement;
  const resources = statement.rest?.[0]?.resource?.filter(({ type }) => TYPES.some((each) => each === type));
  expect(resources?.map(({ versioning, readHistory }) => [versioning, readHistory])).toEqual(
    TYPES.map(() => ['no-version', false]),
  );
});

test('every coded value that may come in is in the code system, and no other', () => {
  const coded = Object.entries(RAW_CODES).flatMap(([name, row]) =>
    row.value === 'code' ? [[name, row.codes]] : [],
  );
  const { 'air-leak-grade': _grades, ...values } = VALUE_CODES;
  expect(
    Object.entries(values)
      .map(([name, rows]) => [name, Object.keys(rows).sort()])
      .sort(),
  ).toEqual(coded.map(([name, codes = []]) => [name, [...codes].sort()]).sort());
});

test('every concept is defined in words; every quantity names its unit, and its sign where it has one', () => {
  const concepts = (ALL as readonly CodeSystem[])[0]?.concept ?? [];
  expect(concepts.length).toBeGreaterThan(Object.keys(FACT_CODES).length);
  for (const { code, display, definition } of concepts)
    expect(
      [display, definition].every((words) => (words ?? '').length > 3),
      code,
    ).toBe(true);
  for (const [name, { definition, unit, signed }] of Object.entries(FACT_CODES)) {
    if (unit === null) continue;
    expect(definition, name).toContain(unit === 'cm[H2O]' ? 'cm H2O' : unit);
    if (unit === 'cm[H2O]') expect(definition, name).toMatch(signed ? /signed/ : /positive magnitude/);
    else if (signed) expect(definition, name).toMatch(/negative|- instilled|net drainage/);
  }
});

test('a canonical URL of the facility stands in all of them, and its own rules in the code system', async () => {
  const other = await startTestService({ DRAINLEDGER_CANONICAL: 'https://drains.example/fhir' });
  const { text } = await other.send('GET', '/fhir/CodeSystem/chest-drain-rule');
  await other.stop();
  expect(text).not.toContain(CANONICAL);
  expect(JSON.parse(text).url).toBe('https://drains.example/fhir/CodeSystem/chest-drain-rule');
  expect(JSON.parse(text).concept.map(({ code }: { code: string }) => code)).toEqual(
    DEFAULT_TABLE.rules.map(({ id }) => id),
  );
});
