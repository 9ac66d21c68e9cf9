/**
 * What a client that is confined to one drain learns of advisories and sums over several: nothing, by no door, as each
 * holds numbers of the other drain. Source: OWASP API Security Top 10 2023, API1 and API3 (object and property level).
 */
import type { Bundle, Observation } from 'fhir/r4.js';
import { afterAll, beforeAll, expect, test, vi } from 'vitest';
import { type Guarded, startGuarded } from './access-control.ts';
import { content, corrected, level, placement, setUp } from './messages.ts';

const RULE = 'michelson-hour-1';
const HEART = {
  patient: { reference: 'Patient/1' },
  indication: 'cardiac-surgery',
  chest_closed_at: '2025-03-01T08:00:00Z',
};

let guarded: Guarded;
let full: string;
let ofPatient: string;
let drains: readonly [string, string];
let keys: readonly [string, string];
/** What the client of the second drain was answered to the entry that crossed the threshold. */
let answer: string;

const get = (token: string, path: string) => guarded.send(token, 'GET', path);
const post = (token: string, drain: string, message: object, query = '') =>
  guarded.send(token, 'POST', `/v1/drains/${drain}/entries${query}`, message);
const crossing = () => level('r-1', '09:00', 121);

beforeAll(async () => {
  guarded = await startGuarded();
  full = await guarded.token({ scope: 'system/*.cruds' });
  ofPatient = await guarded.token({ scope: 'patient/*.crus', patient: '1' });
  const place = async (key: string) =>
    JSON.parse((await guarded.send(full, 'POST', '/v1/drains', placement(key, '08:00', HEART))).text).drain;
  drains = [await place('left'), await place('right')];
  const keyOf = (drain: string) => guarded.key('system/*.crus', { patient: null, drain });
  keys = [keyOf(drains[0]), keyOf(drains[1])];
  await vi.waitUntil(async () => (await get(keys[1], `/v1/drains/${drains[1]}`)).status === 200, {
    timeout: 5000,
  });
  for (const [drain, message] of [
    [drains[0], setUp('l-up', '08:00', 0)],
    [drains[0], level('l-1', '09:00', 200)],
    [drains[1], setUp('r-up', '08:00', 0)],
  ] as const)
    expect((await post(full, drain, message)).status).toBe(201);
  const foreseen = await post(keys[1], drains[1], crossing(), '?dry-run=true');
  expect([foreseen.status, foreseen.text.includes('advisories')]).toEqual([200, false]);
  const posted = await post(keys[1], drains[1], crossing());
  expect(posted.status).toBe(201);
  answer = posted.text;
});
afterAll(() => guarded.stop());

/** Each drain with the other, and the key that is confined to it. */
const each = () =>
  [0, 1].map((n) => ({ own: drains[n] ?? '', other: drains[1 - n] ?? '', key: keys[n] ?? '' }));

test('the answer to the entry that crossed it; whoever may see both is told, also afterwards', async () => {
  expect(answer).not.toContain('advisories');
  expect((await post(keys[1], drains[1], crossing())).text).toBe(answer);
  const again = await post(full, drains[1], crossing());
  const { raised } = JSON.parse(again.text).advisories;
  expect(raised).toContainEqual(expect.objectContaining({ rule: RULE, value: 321 }));
  // But for the advisories both are the same.
  const { advisories: _advisories, ...rest } = JSON.parse(again.text);
  expect(JSON.parse(answer)).toEqual(rest);
  const other = { ...crossing(), level_ml: 122 };
  expect((await post(keys[1], drains[1], other)).text).not.toContain('advisories');
  expect(JSON.parse((await post(full, drains[1], other)).text).first.advisories.raised).toEqual(raised);
});

test('the list of its drain', async () => {
  for (const { own, other, key } of each()) {
    const path = `/v1/drains/${own}/advisories`;
    for (const token of [full, ofPatient]) expect((await get(token, path)).text).toContain(`${RULE}`);
    const { status, text } = await get(key, path);
    expect([status, text.includes(RULE), text.includes(other)]).toEqual([200, false, false]);
    // What concerns the drain alone is there.
    expect(JSON.parse(text).not_assessable.length).toBeGreaterThan(0);
  }
});

test('the state of its drain, which names the others of the patient to who reaches them', async () => {
  for (const { own, other, key } of each()) {
    const told = async (token: string) =>
      JSON.parse((await get(token, `/v1/drains/${own}/state`)).text).drains_of_patient;
    const named = [{ drain: other, site: 'pleural-left', tubes: ['A'], removed_at: null }];
    expect([await told(full), await told(ofPatient), await told(key)]).toEqual([named, named, []]);
  }
});

test('the plot of its drain, and no entity tag tells the two apart', async () => {
  const title = JSON.parse((await get(full, `/v1/drains/${drains[0]}/advisories`)).text).advisories[0].rule
    .title;
  for (const { own, key } of each()) {
    const path = `/v1/drains/${own}/plot.svg?panels=advisories`;
    const [whole, part] = [await get(full, path), await get(key, path)];
    expect([whole.text.includes(title), part.text.includes(title)]).toEqual([true, false]);
    const tag = { 'if-none-match': whole.headers.get('etag') ?? '' };
    expect((await guarded.send(key, 'GET', path, undefined, tag)).status).toBe(200);
  }
});

test('every Observation of its drain is read if and only if it refers to no other drain', async () => {
  const { text } = await get(full, '/fhir/Observation?patient=1&_count=1000');
  const all =
    (JSON.parse(text) as Bundle<Observation>).entry?.flatMap(({ resource }) => resource ?? []) ?? [];
  const refused = new Set<string>();
  for (const { own, other, key } of each())
    for (const { id = '' } of all.filter((one) => one.id?.includes(own))) {
      const whole = (await get(full, `/fhir/Observation/${id}`)).text;
      for (const path of [`/fhir/Observation/${id}`, `/fhir/Observation/${id}/_history`]) {
        const answered = await get(key, path);
        expect([path, answered.status]).toEqual([path, whole.includes(other) ? 403 : 200]);
        expect(answered.text).not.toContain(other);
        expect((await get(ofPatient, path)).status).toBe(200);
      }
      if (whole.includes(other)) refused.add(id.split('.')[0] ?? '');
    }
  expect([...refused].sort()).toEqual(['advisory', 'patient-net-drainage-hour']);
});

test('an advisory that a correction took away', async () => {
  const fix = corrected('r-fix', 'r-1', content(level('r-1', '09:00', 20)));
  const { status, text } = await post(keys[1], drains[1], fix);
  expect([status, text.includes('advisories')]).toEqual([201, false]);
  for (const { own, other, key } of each()) {
    const path = `/v1/drains/${own}/advisories`;
    expect(JSON.parse((await get(full, path)).text).withdrawn).toMatchObject([{ rule: RULE }]);
    const told = await get(key, path);
    expect([JSON.parse(told.text).withdrawn, told.text.includes(other)]).toEqual([[], false]);
  }
});
