/** Removal evidence over the API. */
import { afterAll, beforeAll, expect, test } from 'vitest';
import { entry, level, placeDrain, setUp, type TestDrain, tell } from './messages.ts';
import { startTestService, type TestService } from './service.ts';

let service: TestService;
let drain: TestDrain;

const hour = (n: number) => new Date(Date.parse('2025-03-01T00:00:00Z') + n * 3_600_000).toISOString();
const get = async (path: string) => {
  const { status, text } = await service.send('GET', path);
  return { status, body: JSON.parse(text) };
};
const evidence = async (policy: string, more = '') =>
  (await get(`/v1/drains/${drain.drain}/removal-evidence?policy=${policy}${more}`)).body;

beforeAll(async () => {
  service = await startTestService();
  drain = await placeDrain(service, 'placed', hour(0), { indication: 'thoracic-surgery' });
  await tell(drain, setUp('up', hour(0), 0), entry('w', 'weighed', hour(0), { weight_kg: 70 }));
  const entries = Array.from({ length: 24 }, (_, i) => ({
    drain: drain.drain,
    ...level(`l${i + 1}`, hour(i + 1), 10 * (i + 1), { air_leak: { flow_ml_min: 5 } }),
  }));
  await service.send('POST', '/v1/entries', { entries });
  await tell(drain, entry('fluid', 'reading', hour(24), { fluid_character: 'serous' }));
});
afterAll(() => service.stop());

test('each criterion with its value, uncertainty, limit and entries', async () => {
  const { criteria, outstanding, policy, scope } = await evidence('lung-resection-7-ml-kg-2015');
  expect(policy).toMatchObject({ year: 2015, volume: { operator: '<', threshold: 7, unit: 'mL/kg' } });
  expect(scope.map(({ status }: { status: string }) => status)).toEqual(['same', 'same', 'same']);
  expect(criteria).toMatchObject([
    {
      ...{ criterion: 'volume', status: 'met', reason: null, weight_kg: 70, at_least: false },
      // 240 mL with 6.5 mL (marks of 5 and 10 mL, k = 2: 2 √((5² + 10²) / 12)) over 70 kg.
      net: { value: 3.43, uncertainty: 0.09 },
      drained_and_sampled: { value: 3.43, uncertainty: 0.09 },
      ...{ from: '2025-03-01T00:00:00.000Z', to: '2025-03-02T00:00:00.000Z' },
    },
    { criterion: 'air-flow', status: 'met', flow_ml_min: 5, below_for_h: 23 },
    { criterion: 'fluid', status: 'met', character: 'serous' },
  ]);
  expect(criteria[0].entries).toHaveLength(26);
  expect(outstanding).toEqual(['imaging', 'clinician']);
});

test('volumes in mL, and a leak where none may be', async () => {
  const { criteria } = await evidence('lobectomy-450-ml-2017');
  expect(criteria[0]).toMatchObject({ status: 'met', net: { value: 240, uncertainty: 6.5 } });
  expect(criteria[1]).toMatchObject({ criterion: 'air-leak', status: 'not-met', leak: true });
});

test('as of a time', async () => {
  const { criteria } = await evidence('lobectomy-450-ml-2017', `&as_of=${hour(10)}`);
  expect(criteria[0]).toMatchObject({
    status: 'not-known',
    reason: 'not-in-place-throughout',
    at_least: true,
  });
  expect(criteria[2]).toMatchObject({ status: 'not-known', reason: 'not-assessed', character: null });
});

test('a drain outside the scope has no criteria; one without a level has no values', async () => {
  const path = async (name: string, more: object) => {
    const other = await placeDrain(service, name, hour(0), more);
    return `/v1/drains/${other.drain}/removal-evidence?policy=lobectomy-450-ml-2017`;
  };
  const child = await get(await path('child', { population: 'paediatric' }));
  expect(child.body).toMatchObject({ criteria: [], outstanding: ['imaging', 'clinician'] });
  const bare = await get(await path('bare', {}));
  expect(bare.body.criteria[0]).toMatchObject({ net: null, reason: 'no-level', entries: [] });
});

test('the policies, with sources and without any that is a default', async () => {
  const { body } = await get('/v1/removal-policies');
  expect(body.policies.length).toBeGreaterThanOrEqual(3);
  for (const { source } of body.policies) expect(source).toMatch(/\d{4}/);
  const none = await get(`/v1/drains/${drain.drain}/removal-evidence`);
  expect(none).toMatchObject({
    status: 400,
    body: { errors: [{ pointer: '?policy', detail: 'is missing' }] },
  });
  const unknown = await get(`/v1/drains/${drain.drain}/removal-evidence?policy=x`);
  expect(unknown).toMatchObject({ status: 400, body: { errors: [{ pointer: '?policy' }] } });
  const nowhere = await get('/v1/drains/nowhere/removal-evidence?policy=lobectomy-450-ml-2017');
  expect(nowhere.status).toBe(404);
});
