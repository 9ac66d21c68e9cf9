/** Who wrote what: the Provenance of each write, judged by the published definitions of R4, and how it is found. */
import type { Bundle, Observation, Provenance } from 'fhir/r4.js';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { problemsOf } from '../support/r4.ts';
import { entry, id, level, placeDrain, SYSTEM, setUp, type TestDrain } from './messages.ts';
import { STORY } from './rich-story.ts';
import { startTestService, type TestService } from './service.ts';

let service: TestService;
let drain: TestDrain;
/** Id of an entry by its key. */
const entries = new Map<string, string>();

beforeAll(async () => {
  service = await startTestService();
  const patient = { reference: 'Patient/1', identifier: id('patient-1') };
  drain = await placeDrain(service, 'placed', '08:00', { patient });
  const other = await placeDrain(service, 'placed-2', '08:00', {
    patient: { reference: 'Patient/2' },
    site: 'pleural-right',
  });
  const enter = async (into: TestDrain, message: object | string) => {
    const { status, text } = await into.enter(message);
    if (status !== 201) throw new Error(text);
    const receipt = JSON.parse(text);
    entries.set(receipt.identifier.value, receipt.entry);
  };
  for (const message of STORY) await enter(drain, message);
  await enter(other, setUp('up-2', '08:00', 0));
  await enter(other, {
    ...level('by-device', '09:00', 40),
    author: { type: 'device', reference: 'Device/gateway-7' },
  });
  await enter(other, entry('clamp-2', 'clamped', '09:30'));
});
afterAll(() => service.stop());

const get = async <T>(path: string): Promise<T> => {
  const { status, text } = await service.send('GET', `/fhir${path}`);
  if (status !== 200) throw new Error(text);
  return JSON.parse(text) as T;
};
const found = async (query: string) =>
  ((await get<Bundle<Provenance>>(`/Provenance?_count=1000&${query}`)).entry ?? []).flatMap(
    ({ resource }) => resource ?? [],
  );
const ofEntry = (key: string) => get<Provenance>(`/Provenance/provenance.${drain.drain}.${entries.get(key)}`);

test('every version of every Observation is the target of one Provenance, and all of them are valid R4', async () => {
  const history = await get<Bundle<Observation>>('/Observation/_history?_count=1000');
  const versions = history.entry?.map(
    ({ resource }) => `Observation/${resource?.id}/_history/${resource?.meta?.versionId}`,
  );
  expect(history.link?.some(({ relation }) => relation === 'next')).toBe(false);
  const all = await found('');
  expect(all.flatMap((each) => problemsOf(each))).toEqual([]);
  const targets = all.flatMap(({ target }) => target.map(({ reference }) => reference));
  expect(targets.filter((each) => each?.startsWith('Observation/')).sort()).toEqual(versions?.sort());
});

test('a first charting: created by who charted it, put together and sent on by the service', async () => {
  const { activity, agent, entity, recorded, meta, reason, target } = await ofEntry('r2');
  expect(activity?.coding).toMatchObject([{ code: 'CREATE' }]);
  expect(agent.map(({ type, who }) => [type?.coding?.[0]?.code, who.reference ?? who.identifier])).toEqual([
    ['assembler', { system: 'http://example.org/drainledger/service', value: 'test.example' }],
    ['transmitter', { system: 'http://example.org/drainledger/service', value: 'test.example' }],
    ['author', 'Practitioner/n1'],
  ]);
  expect(entity).toEqual([{ role: 'source', what: { identifier: { system: SYSTEM, value: 'r2' } } }]);
  expect([recorded, reason]).toEqual([meta?.lastUpdated, undefined]);
  const anchor = `${drain.drain}.${entries.get('r2')}`;
  expect(target.map(({ reference }) => reference)).toContain(`Observation/level.${anchor}/_history/1`);
});

test.each([
  ['c1', 'UPDATE', 'revision', 'r1'],
  ['v1', 'NULLIFY', 'removal', 'r6'],
])('%s: %s, with the reason, and the entry that it replaces or takes back', async (key, code, role, what) => {
  const { activity, entity, reason } = await ofEntry(key);
  expect(activity?.coding).toMatchObject([{ code }]);
  expect(reason?.[0]?.text).toMatch(/\w/);
  expect(entity).toEqual([
    { role: 'source', what: { identifier: { system: SYSTEM, value: key } } },
    { role, what: { identifier: { system: SYSTEM, value: what } } },
  ]);
});

test('a late entry revises its neighbours and gives no reason', async () => {
  const { activity, reason, target } = await ofEntry('late');
  expect(activity?.coding).toMatchObject([{ code: 'UPDATE' }]);
  expect(reason).toBeUndefined();
  // Its own facts are new; of its neighbours one was corrected before.
  const versions = target.map(({ reference }) => Number(reference?.split('/_history/')[1]));
  expect([...new Set(versions)].sort()).toEqual([1, 3]);
});

test('what was retracted names the version that says so', async () => {
  const { target } = await ofEntry('v1');
  const level6 = `level.${drain.drain}.${entries.get('r6')}`;
  const version = target.find(({ reference }) => reference?.includes(level6))?.reference ?? '';
  expect(await get<Observation>(`/${version}`)).toMatchObject({ status: 'entered-in-error' });
});

test('an entry that issues nothing has none', async () => {
  const other = await service.send(
    'GET',
    `/fhir/Provenance/provenance.${drain.drain}.${entries.get('clamp')}`,
  );
  expect(other.status).toBe(404);
});

test('found by target, patient, agent, time, entry, and what its agents did', async () => {
  const level1 = `level.${drain.drain}.${entries.get('r1')}`;
  const ofLevel = await found(`target=Observation/${level1}`);
  // Charted, corrected, and issued again when the patient's identifier came.
  expect(ofLevel).toHaveLength(3);
  expect(await found(`target=${level1}&recorded=gt2100`)).toEqual([]);
  const all = await found('');
  const [ofFirst, ofSecond] = [await found('patient=1'), await found('patient=Patient/2')];
  expect(ofFirst.length + ofSecond.length).toBe(all.length);
  expect((await found(`patient:identifier=${SYSTEM}|patient-1`)).length).toBe(ofFirst.length);
  expect(ofSecond).toHaveLength(2);
  const byDevice = await found('agent=Device/gateway-7');
  expect(byDevice.map(({ entity }) => entity?.[0]?.what.identifier?.value)).toEqual(['by-device']);
  expect((await found(`entity:identifier=${SYSTEM}|r1`)).map(({ id: each }) => each).sort()).toEqual(
    ['r1', 'c1'].map((key) => `provenance.${drain.drain}.${entries.get(key)}`).sort(),
  );
  expect((await found('agent-type=author')).length).toBe(all.length);
  const recorded = (await found('_sort=recorded')).map((each) => each.recorded);
  expect(recorded).toEqual([...recorded].sort());
});

test('it comes along with the Observations that are searched for', async () => {
  const bundle = await get<Bundle<Observation | Provenance>>(
    '/Observation?code=level&patient=1&_count=2&_revinclude=Provenance:target&_summary=false',
  );
  expect(problemsOf(bundle)).toEqual([]);
  const modeOf = (mode: string) => (bundle.entry ?? []).filter(({ search }) => search?.mode === mode);
  const names = modeOf('match').map(({ resource }) => `Observation/${resource?.id}/`);
  expect(names).toHaveLength(2);
  const added = modeOf('include').map(({ resource }) => resource as Provenance);
  expect(added.length).toBeGreaterThan(1);
  for (const { target } of added)
    expect(target.some(({ reference }) => names.some((name) => reference?.startsWith(name)))).toBe(true);
  for (const name of names)
    expect(added.some(({ target }) => target.some(({ reference }) => reference?.startsWith(name)))).toBe(
      true,
    );
  expect(new Set(added.map(({ id: each }) => each)).size).toBe(added.length);
  expect(
    bundle.entry?.every(({ fullUrl, resource }) =>
      fullUrl?.endsWith(`${resource?.resourceType}/${resource?.id}`),
    ),
  ).toBe(true);
});
