/** Codings and categories as a facility chose them: what is issued, and that the choice is in the ledger. */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { Bundle, Observation } from 'fhir/r4.js';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { readConfig } from '../../src/config.ts';
import { definitions } from '../../src/fhir/definitions/definitions.ts';
import { DEFAULT_TABLE } from '../../src/rules/default-table.ts';
import { createProfileJudge } from '../support/profiles.ts';
import { problemsOf } from '../support/r4.ts';
import type { JsonObject } from '../support/r4-own-rules.ts';
import { level, placeDrain, setUp, tell } from './messages.ts';
import { STORY } from './rich-story.ts';
import { startTestService } from './service.ts';

const folder = mkdtempSync(join(tmpdir(), 'terminology-test-'));
const CHOSEN = { DRAINLEDGER_SNOMED: 'off', DRAINLEDGER_CATEGORIES: 'level=survey,imposed-suction=exam' };
let issued: readonly Observation[];
let versions: readonly { document: { terminology?: object } }[];
let afterwards: string;

/** One after another on one ledger: as chosen, then as it usually is. */
beforeAll(async () => {
  const database = { DRAINLEDGER_DATABASE: join(folder, 'ledger.db') };
  const first = await startTestService({ ...database, ...CHOSEN });
  const drain = await placeDrain(first, 'placed', '08:00', { patient: { reference: 'Patient/1' } });
  for (const message of STORY) {
    const { status, text } = await drain.enter(message);
    if (status !== 201) throw new Error(text);
  }
  const history = await first.send('GET', '/fhir/Observation/_history?_count=1000');
  issued = ((JSON.parse(history.text) as Bundle<Observation>).entry ?? []).flatMap(
    ({ resource }) => resource ?? [],
  );
  await first.stop();
  const second = await startTestService(database);
  const other = await placeDrain(second, 'placed-2', '08:00');
  await tell(other, setUp('up-2', '08:00', 0), level('r-2', '09:00', 50));
  afterwards = (await second.send('GET', '/fhir/Observation?_count=5&_sort=-_lastUpdated')).text;
  versions = JSON.parse((await second.send('GET', '/v1/configuration/versions')).text).versions;
  await second.stop();
});
afterAll(() => rmSync(folder, { recursive: true }));

const named = (name: string) => issued.filter(({ id }) => id?.startsWith(`${name}.`));
const categoriesOf = (name: string) =>
  new Set(named(name).flatMap(({ category = [] }) => category.map(({ coding }) => coding?.[0]?.code)));

test('without SNOMED CT no coding of it is issued, and the site is said in words', () => {
  expect(issued.length).toBeGreaterThan(200);
  expect(JSON.stringify(issued)).not.toContain('snomed');
  expect(named('level')[0]?.bodySite).toEqual({ text: 'Left pleura' });
  expect(named('tidaling')[0]?.valueCodeableConcept?.coding).toHaveLength(1);
  expect(named('net-drainage')[0]?.code.coding?.map(({ code }) => code)).toEqual(['9129-8', 'net-drainage']);
});

test('a fact has the category that was chosen for it, others keep theirs', () => {
  expect(categoriesOf('level')).toEqual(new Set(['survey']));
  expect(categoriesOf('imposed-suction')).toEqual(new Set(['exam']));
  expect(categoriesOf('ordered-suction')).toEqual(new Set(['therapy']));
  expect(categoriesOf('body-weight')).toEqual(new Set(['vital-signs']));
});

test('all of it is valid R4 and conforms', () => {
  const judge = createProfileJudge(definitions('http://example.org/drainledger', DEFAULT_TABLE));
  const sample = issued.filter((_, n) => n % 5 === 0) as unknown as JsonObject[];
  expect(sample.flatMap((each) => [...problemsOf(each), ...judge(each)])).toEqual([]);
});

test('each choice is a version of the configuration, and re-issues nothing by itself', () => {
  expect(versions.map(({ document }) => document.terminology)).toEqual([
    { snomed: false, categories: { level: 'survey', 'imposed-suction': 'exam' } },
    { snomed: true, categories: {} },
  ]);
  const ids = (JSON.parse(afterwards) as Bundle).entry?.map(({ resource }) => resource?.id ?? '') ?? [];
  expect(new Set(ids.map((each) => each.split('.')[1])).size).toBe(1);
  expect(afterwards).toContain('53727004');
});

test.each([
  ['DRAINLEDGER_SNOMED', 'yes', /neither 'on' nor 'off'/],
  ['DRAINLEDGER_CATEGORIES', 'level', /is no list such as/],
  ['DRAINLEDGER_CATEGORIES', 'depth=exam', /facts .*level/],
  ['DRAINLEDGER_CATEGORIES', 'level=bedside', /categories .*survey/],
  ['DRAINLEDGER_CATEGORIES', 'level=exam,level=survey', /each fact once/],
  ['DRAINLEDGER_CATEGORIES', 'collection-unit=exam', /is no list such as/],
  ['DRAINLEDGER_CATEGORIES', 'level=exam=survey', /is no list such as/],
])('%s=%s is refused with what may be sent', (name, value, words) => {
  const env = { DRAINLEDGER_DATABASE: 'x', DRAINLEDGER_ORIGIN: 'test.example', [name]: value };
  expect(() => readConfig(env)).toThrow(words);
  expect(() => readConfig(env)).toThrow(name);
});
