/** Collection units as FHIR Devices: issued, versioned, referred to and found; and devices of others, which are only named. */
import type { Bundle, Device, Observation, Provenance } from 'fhir/r4.js';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { problemsOf } from '../support/r4.ts';
import {
  content,
  corrected,
  DEVICE,
  entry,
  level,
  placeDrain,
  setUp,
  type TestDrain,
  tell,
  voided,
} from './messages.ts';
import { startTestService, type TestService } from './service.ts';

let service: TestService;
let drain: TestDrain;
let ids: ReadonlyMap<string, string>;

beforeAll(async () => {
  service = await startTestService();
  drain = await placeDrain(service, 'placed', '08:00', { patient: { reference: 'Patient/1' } });
  await tell(
    drain,
    { ...setUp('up', '08:00', 0), unit_serial: 'invented "1"' },
    level('r1', '09:00', 100),
    { ...level('by-device', '09:30', 120), author: DEVICE },
    { ...level('by-id', '09:40', 125), author: { type: 'device', reference: 'Device/gateway-7' } },
    entry('change', 'unit-changed', '10:00', {
      profile: 'electronic-800',
      closing_level_ml: 130,
      opening_level_ml: 0,
    }),
    entry('r2', 'reading', '11:00', { level_ml: 30, pressure_cmh2o: -8 }),
    corrected('fix', 'up', content({ ...setUp('', '08:00', 0, 'dry-2000'), unit_serial: 'invented 2' })),
    entry('twice', 'unit-changed', '12:00', {
      profile: 'wet-2000',
      closing_level_ml: 40,
      opening_level_ml: 0,
    }),
    level('r3', '13:00', 50),
    voided('undo', 'twice'),
  );
  const { entries } = JSON.parse(await drain.ledger());
  ids = new Map(
    entries.map((each: { entry: string; body: { identifier: { value: string } } }) => [
      each.body.identifier.value,
      each.entry,
    ]),
  );
});
afterAll(() => service.stop());

const get = async <T>(path: string): Promise<T> => {
  const { status, text } = await service.send('GET', `/fhir${path}`);
  if (status !== 200) throw new Error(text);
  const resource = JSON.parse(text);
  expect(problemsOf(resource)).toEqual([]);
  return resource as T;
};
const unitOf = (key: string) => `collection-unit.${drain.drain}.${ids.get(key)}`;
const observation = (name: string, key: string) =>
  get<Observation>(`/Observation/${name}.${drain.drain}.${ids.get(key)}`);

test('a unit says what it is, whose, and how it can be read', async () => {
  const { meta: _, ...device } = await get<Device>(`/Device/${unitOf('up')}/_history/1`);
  const system = 'http://example.org/drainledger/CodeSystem/chest-drain-unit';
  const ucum = 'http://unitsofmeasure.org';
  expect(device).toEqual({
    resourceType: 'Device',
    id: unitOf('up'),
    identifier: [{ system: 'http://example.org/drainledger/device', value: unitOf('up') }],
    serialNumber: 'invented "1"',
    deviceName: [{ name: 'wet-2000', type: 'other' }],
    type: { coding: [{ system, code: 'wet-suction', display: 'Wet-suction drainage unit' }] },
    property: [
      {
        type: { coding: [{ system, code: 'capacity', display: 'Capacity' }] },
        valueQuantity: [{ value: 2000, unit: 'mL', system: ucum, code: 'mL' }],
      },
      {
        type: { coding: [{ system, code: 'leak-scale-maximum', display: 'Highest air-leak grade' }] },
        valueQuantity: [{ value: 5, unit: '1', system: ucum, code: '1' }],
      },
      {
        type: { coding: [{ system, code: 'seal-fill', display: 'Seal fill level' }] },
        valueQuantity: [{ value: 2, unit: 'cm[H2O]', system: ucum, code: 'cm[H2O]' }],
      },
    ],
    patient: { reference: 'Patient/1' },
  });
});

test('a correction makes a version of the same unit, a retraction says that it never was', async () => {
  const now = await get<Device>(`/Device/${unitOf('up')}`);
  expect([now.meta?.versionId, now.deviceName?.[0]?.name, now.serialNumber, now.status]).toEqual([
    '2',
    'dry-2000',
    'invented 2',
    undefined,
  ]);
  const undone = await get<Device>(`/Device/${unitOf('twice')}`);
  expect([undone.meta?.versionId, undone.status]).toEqual(['2', 'entered-in-error']);
  const history = await get<Bundle>(`/Device/${unitOf('twice')}/_history`);
  expect(history.total).toBe(2);
});

test('what is read off a unit refers to it, and again to the right one when a change of units is taken back', async () => {
  expect((await observation('level', 'r1')).device).toEqual({ reference: `Device/${unitOf('up')}` });
  expect((await observation('measured-pressure', 'r2')).device?.reference).toBe(`Device/${unitOf('change')}`);
  const { device, meta } = await observation('level', 'r3');
  expect([device?.reference, meta?.versionId]).toEqual([`Device/${unitOf('change')}`, '2']);
  expect((await observation('net-drainage', 'r1')).device).toBeUndefined();
});

test('a device that charts is the device of what it charted, and nobody performed it', async () => {
  const byIdentifier = await observation('level', 'by-device');
  expect(byIdentifier.device).toEqual({ identifier: DEVICE.identifier });
  expect(byIdentifier.performer).toBeUndefined();
  expect((await observation('level', 'by-id')).device).toEqual({ reference: 'Device/gateway-7' });
  expect((await observation('level', 'r1')).performer).toEqual([{ reference: 'Practitioner/n1' }]);
  // It is held elsewhere: nothing is made up here.
  const none = await service.send('GET', '/fhir/Device/gateway-7');
  expect(none.status).toBe(404);
});

test('found by patient, kind, status and identifier, and included with what was read off it', async () => {
  const idsIn = async (path: string) =>
    (await get<Bundle>(path)).entry?.map(({ resource }) => resource?.id).sort();
  expect(await idsIn('/Device?patient=1')).toEqual(['up', 'change', 'twice'].map(unitOf).sort());
  expect(await idsIn('/Device?type=electronic&patient=Patient/1')).toEqual([unitOf('change')]);
  expect(await idsIn('/Device?status=entered-in-error')).toEqual([unitOf('twice')]);
  expect(await idsIn(`/Device?identifier=http://example.org/drainledger/device|${unitOf('up')}`)).toEqual([
    unitOf('up'),
  ]);
  const { entry: found = [] } = await get<Bundle>('/Observation?code=level&_include=Observation:device');
  const added = found.filter(({ search }) => search?.mode === 'include').map(({ resource }) => resource?.id);
  expect(added.sort()).toEqual([unitOf('up'), unitOf('change')].sort());
  const { entry: told = [] } = await get<Bundle>(`/Device?_id=${unitOf('up')}&_revinclude=Provenance:target`);
  const targets = told.slice(1).map(({ resource }) => (resource as Provenance).target[0]?.reference);
  expect(targets.sort()).toEqual([1, 2].map((n) => `Device/${unitOf('up')}/_history/${n}`));
});

test('what is a match is not included again', async () => {
  const { entry: found = [] } = await get<Bundle>(
    '/Observation?code=level,net-drainage&_include=Observation:derived-from&_include=Observation:device&_revinclude=Provenance:target',
  );
  const urls = found.map(({ fullUrl }) => fullUrl);
  expect(new Set(urls).size).toBe(urls.length);
  const modes = found.filter(({ fullUrl }) => fullUrl?.includes('/level.')).map(({ search }) => search?.mode);
  expect(new Set(modes)).toEqual(new Set(['match']));
});
