/**
 * `identifier=system|`: any value in that system (FHIR R4, search.html#token). A page of it costs what a page costs, however
 * large the index is: by the plan of its queries, as SQLite tells it (eqp.html), and not by a clock.
 */
import { afterAll, beforeAll, expect, test, vi } from 'vitest';
import { type Indexed, indexed } from './indexed.ts';

const WARD = 'urn:example:ward';
const OTHER = 'urn:example:other';
const FLEET = 'urn:example:fleet';
const COUNT = 60;
let ledger: Indexed;

const observation = (n: number, more: object = {}) => ({
  id: `fact.${n}`,
  status: 'final',
  code: { coding: [{ system: 'urn:example:codes', code: n % 2 === 0 ? 'even' : 'odd' }] },
  subject: { reference: `Patient/${n % 3}` },
  effectiveDateTime: new Date(Date.UTC(2024, 2, 1, (n * 7) % COUNT)).toISOString(),
  identifier: [{ system: n % 10 === 0 ? OTHER : WARD, value: `value.${n}` }],
  ...(n % 4 === 0 ? { device: { identifier: { system: FLEET, value: `unit${n % 8}` } } } : {}),
  ...more,
});
const idsWhere = (is: (n: number) => boolean) =>
  Array.from({ length: COUNT }, (_, n) => n)
    .filter(is)
    .map((n) => `fact.${n}`)
    .sort();

beforeAll(() => {
  ledger = filled();
});
afterAll(() => ledger.close());

function filled(): Indexed {
  const made = indexed();
  for (let n = 0; n < COUNT; n += 3) made.issue(observation(n), observation(n + 1), observation(n + 2));
  made.issue({ id: 'bare', status: 'final', code: { text: 'x' }, identifier: [{ value: 'value.1' }] });
  // A newer version that is no longer of the system that it was of.
  made.issue(observation(10, { identifier: [{ system: WARD, value: 'value.10' }] }));
  return made;
}

const isOther = (n: number) => n % 10 === 0 && n !== 10;
test.each([
  ['a system', `identifier=${OTHER}|`, idsWhere(isOther)],
  ['another, page by page', `identifier=${WARD}|&_count=7`, idsWhere((n) => !isOther(n))],
  ['two of them', `identifier=${OTHER}|,${WARD}|`, idsWhere(() => true)],
  [
    'one, or a value of another',
    `identifier=${OTHER}|,${WARD}|value.7`,
    idsWhere((n) => isOther(n) || n === 7),
  ],
  ['one beside a code', `identifier=${OTHER}|&code=even`, idsWhere(isOther)],
  ['one of a patient', `identifier=${OTHER}|&patient=0`, idsWhere((n) => isOther(n) && n % 3 === 0)],
  ['one of what is referred to', `device:identifier=${FLEET}|`, idsWhere((n) => n % 4 === 0)],
  ['both', `device:identifier=${FLEET}|&identifier=${OTHER}|`, idsWhere((n) => isOther(n) && n % 4 === 0)],
  [
    'one beside a value',
    `device:identifier=${FLEET}|unit4&identifier=${OTHER}|`,
    idsWhere((n) => isOther(n) && n % 8 === 4),
  ],
  ['one by a parameter that names none of it', `identifier=${FLEET}|`, []],
  ['one that nothing is of', 'identifier=urn:example:none|', []],
])('%s', (_what, query, expected) => {
  expect([...ledger.ids(query)].sort()).toEqual(expected);
});

test('is in the order of any search: by its time, the newest first', () => {
  const times = (ledger.ask('search', `identifier=${WARD}|`).entry ?? []).map(
    ({ resource }) => resource?.effectiveDateTime ?? '',
  );
  expect(times).toEqual([...times].sort().reverse());
});

/** How SQLite goes about each query of a search. */
function plansOf(query: string): readonly string[] {
  // What was asked before is prepared already.
  const fresh = filled();
  fresh.follow();
  const { db } = fresh.held;
  const prepare = vi.spyOn(db, 'prepare');
  fresh.ask('search', query);
  const asked = prepare.mock.calls.map(([sql]) => sql).filter((sql) => /\bversion v\b/.test(sql));
  prepare.mockRestore();
  const plans = asked.flatMap((sql) =>
    db
      .prepare<unknown[], { detail: string }>(`EXPLAIN QUERY PLAN ${sql}`)
      .all(...Array.from({ length: sql.split('?').length - 1 }, () => 0))
      .map(({ detail }) => detail),
  );
  fresh.close();
  return plans;
}

test.each([
  `identifier=${WARD}|&_count=9`,
  `device:identifier=${FLEET}|&_count=9`,
  `identifier=${WARD}|,${OTHER}|&code=even&_count=9`,
])('%s reads rows of these systems in their order, and no others', (query) => {
  const plans = plansOf(query);
  expect(plans).toContainEqual(expect.stringMatching(/^SEARCH v USING INDEX version_by_naming \(naming=\?/));
  expect(plans.filter((each) => /^SCAN (v|w|p)\b|TEMP B-TREE/.test(each))).toEqual([]);
});

test('of a patient, rows of the patient are asked one by one, and no words are gone through', () => {
  const plans = plansOf(`identifier=${WARD}|&patient=1&_count=9`);
  expect(plans).toContainEqual(expect.stringMatching(/^SEARCH v USING INDEX version_by_subject/));
  expect(plans.filter((each) => /^SCAN (v|w|p)\b|^SEARCH w\b/.test(each))).toEqual([]);
});
