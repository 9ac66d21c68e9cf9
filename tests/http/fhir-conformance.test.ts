/** All that is issued conforms to the profiles that are published for it, and what does not conform is found. */
import type { Bundle } from 'fhir/r4.js';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { definitions } from '../../src/fhir/definitions/definitions.ts';
import { DEFAULT_TABLE } from '../../src/rules/default-table.ts';
import { brokenInvariants } from '../support/invariants.ts';
import { createProfileJudge } from '../support/profiles.ts';
import { problemsOf } from '../support/r4.ts';
import type { JsonObject } from '../support/r4-own-rules.ts';
import { entry, id, level, placeDrain, setUp, tell } from './messages.ts';
import { STORY } from './rich-story.ts';
import { startTestService, type TestService } from './service.ts';

const CANONICAL = 'http://example.org/drainledger';
const ALL = definitions(CANONICAL, DEFAULT_TABLE);
const judge = createProfileJudge(ALL);

let service: TestService;
/** Every version of everything that the story issues. */
let issued: readonly JsonObject[];

beforeAll(async () => {
  service = await startTestService();
  const patient = { reference: 'Patient/1', identifier: id('patient-1') };
  const drain = await placeDrain(service, 'placed', '08:00', { patient: { reference: 'Patient/1' } });
  const right = await placeDrain(service, 'placed-right', '08:00', { patient, site: 'pleural-right' });
  await tell(right, setUp('right-up', '08:00', 0), level('right-1', '09:00', 40));
  await tell(right, level('right-2', '10:30', 90), entry('right-out', 'removed', '17:00'));
  for (const message of STORY) {
    const { status, text } = await drain.enter(message);
    if (status !== 201) throw new Error(text);
  }
  const found: JsonObject[] = [];
  for (const type of ['Observation', 'Device', 'Provenance']) {
    const { text } = await service.send('GET', `/fhir/${type}/_history?_count=1000`);
    const bundle = JSON.parse(text) as Bundle;
    expect(bundle.link?.map(({ relation }) => relation)).toEqual(['self']);
    found.push(...(bundle.entry ?? []).map(({ resource }) => resource as unknown as JsonObject));
  }
  issued = found;
});
afterAll(() => service.stop());

test('the definitions are valid R4 themselves, and none has the address of another', () => {
  expect(ALL.flatMap((each) => problemsOf(each).map((problem) => `${each.id}: ${problem}`))).toEqual([]);
  expect(new Set(ALL.map(({ url }) => url)).size).toBe(ALL.length);
  expect(ALL.length).toBeGreaterThan(50);
});

test('every version of every Observation keeps the invariants of R4 and US Core', () => {
  const observations = issued.filter(({ resourceType }) => resourceType === 'Observation');
  expect(observations.length).toBeGreaterThan(100);
  const broken = observations.flatMap((each) => brokenInvariants(each).map((key) => `${each.id}: ${key}`));
  expect(broken).toEqual([]);
});

test('every version of everything that a rich story issues conforms', () => {
  const problems = issued.flatMap((each) => judge(each).map((problem) => `${each.id}: ${problem}`));
  expect(problems).toEqual([]);
  expect(issued.length).toBeGreaterThan(300);
});

/** A resource that conforms, of a fact or a type, with changes by path; undefined takes a member out. */
function changed(kind: string, changes: Readonly<Record<string, unknown>>): JsonObject {
  const found = issued.find(
    ({ id: each, resourceType }) => String(each).startsWith(`${kind}.`) || resourceType === kind,
  );
  if (found === undefined) throw new Error(`nothing of ${kind} was issued`);
  const copy = structuredClone(found) as Record<string, unknown>;
  for (const [path, value] of Object.entries(changes)) put(copy, path.split('.'), value);
  return copy;
}

function put(into: Record<string, unknown>, [step = '', ...rest]: readonly string[], value: unknown): void {
  if (rest.length > 0) put(into[step] as Record<string, unknown>, rest, value);
  else if (value === undefined) delete into[step];
  else into[step] = value;
}

const VALUE = `${CANONICAL}/CodeSystem/chest-drain-value`;
const OBSERVATION = `${CANONICAL}/CodeSystem/chest-drain-observation`;
const litre = { value: 1, unit: 'L', system: 'http://unitsofmeasure.org', code: 'L' };
const ofCode = (system: string, code: string) => ({ coding: [{ system, code }] });

describe('what does not conform is found', () => {
  test.each<[string, string, Record<string, unknown>, RegExp]>([
    ['a level without an identifier', 'level', { identifier: undefined }, /identifier/],
    ['a level without a category', 'level', { category: undefined }, /category/],
    [
      'a level over a period',
      'level',
      { effectiveDateTime: undefined, effectivePeriod: { start: '2025' } },
      /effective/,
    ],
    ['a level without a time', 'level', { effectiveDateTime: undefined }, /effective/],
    ['a level in litres', 'level', { valueQuantity: litre }, /drain-unit/],
    ['a level in words', 'level', { valueQuantity: undefined, valueString: 'low' }, /value/],
    ['a level without a value', 'level', { valueQuantity: undefined }, /value/],
    ['a negative level', 'level', { 'valueQuantity.value': -5 }, /drain-magnitude/],
    ['negative suction', 'imposed-suction', { 'valueQuantity.value': -20 }, /drain-magnitude/],
    ['a negative seal level', 'seal-level', { 'valueQuantity.value': -2 }, /drain-magnitude/],
    ['an upper bound', 'net-drainage', { 'valueQuantity.comparator': '<' }, /drain-bound/],
    [
      'a level that was worked out',
      'level',
      { derivedFrom: [{ reference: 'Observation/1' }] },
      /derivedFrom/,
    ],
    ['a level with members', 'level', { hasMember: [{ reference: 'Observation/1' }] }, /hasMember/],
    ['a grouping without members', 'reading', { hasMember: undefined }, /hasMember/],
    ['a grouping with a value', 'reading', { valueString: 'x' }, /value/],
    [
      'a rate that somebody performed',
      'drainage-rate',
      { performer: [{ reference: 'Practitioner/1' }] },
      /performer/,
    ],
    ['a rate that a device gave', 'drainage-rate', { device: { reference: 'Device/1' } }, /device/],
    [
      'a level with components',
      'level',
      { component: [{ code: ofCode(OBSERVATION, 'drained'), valueQuantity: litre }] },
      /component/,
    ],
    [
      'a component of another fact',
      'net-drainage',
      { 'component.0.code': { coding: [{ system: OBSERVATION, code: 'coverage', display: 'Coverage' }] } },
      /drain-component/,
    ],
    [
      'a component that is no code of ours',
      'net-drainage',
      { 'component.0.code': ofCode(OBSERVATION, 'x') },
      /no code of .*component/,
    ],
    ['a component without a value', 'net-drainage', { 'component.0.valueQuantity': undefined }, /component/],
    [
      'a mark that nobody knows',
      'level',
      { interpretation: [ofCode(`${CANONICAL}/CodeSystem/chest-drain-flag`, 'odd')] },
      /flag-all/,
    ],
    [
      'tidaling with a value of another fact',
      'tidaling',
      { valueCodeableConcept: ofCode(VALUE, 'air-leak-phase-none') },
      /tidaling/,
    ],
    [
      'a grade beyond all scales',
      'air-leak-grade',
      { valueCodeableConcept: ofCode(VALUE, 'air-leak-grade-101') },
      /air-leak-grade/,
    ],
    [
      'a value with words of another',
      'tidaling',
      { 'valueCodeableConcept.coding.0.display': 'Absent?' },
      /not displayed/,
    ],
    [
      'an advisory on a rule that is none',
      'advisory',
      { valueCodeableConcept: ofCode(`${CANONICAL}/CodeSystem/chest-drain-rule`, 'x') },
      /rule-all/,
    ],
    [
      'a unit of no kind',
      'Device',
      { type: ofCode(`${CANONICAL}/CodeSystem/chest-drain-unit`, 'capacity') },
      /unit-kind/,
    ],
    ['a unit without a kind', 'Device', { type: undefined }, /type/],
    ['a Provenance without an activity', 'Provenance', { activity: undefined }, /activity/],
    [
      'a Provenance of no version',
      'Provenance',
      { 'target.0.reference': 'Observation/1' },
      /drain-versioned/,
    ],
    [
      'a Provenance without an author',
      'Provenance',
      { 'agent.2.type': ofCode('urn:x', 'author') },
      /drain-agents/,
    ],
    [
      'a reason for nothing',
      'Provenance',
      { entity: [{ role: 'source', what: { display: 'x' } }], reason: [{ text: 'x' }] },
      /drain-replaced/,
    ],
  ])('%s', (_what, kind, changes, problem) => {
    expect(judge(changed(kind, {}))).toEqual([]);
    expect(judge(changed(kind, changes)).join('; ')).toMatch(problem);
  });

  test('an Observation with the code of no fact has no profile', () => {
    expect(() => judge(changed('level', { 'code.coding.0.code': 'depth' }))).toThrow('no profile');
  });
});
