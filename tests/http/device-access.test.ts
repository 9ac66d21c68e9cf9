/** Who may register and assign devices, and what a client that is confined to one drain or patient sees and does of them. */
import { parse } from 'csv-parse/sync';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { type Guarded, startGuarded } from './access-control.ts';
import { assigned, byDevice, closed, MONITOR, reassigned, registration } from './device-ward.ts';
import { level as observedLevel } from './fhir-messages.ts';
import { id, level, placement } from './messages.ts';

let guarded: Guarded;
let full: string;
let mine: string;
let other: string;
let device: string;
let strange: string;

const send = async (...call: Parameters<Guarded['send']>) => {
  const { status, text } = await guarded.send(...call);
  return { status, body: JSON.parse(text) };
};

beforeAll(async () => {
  guarded = await startGuarded();
  full = await guarded.token({ scope: 'system/*.cruds drainledger/operate' });
  const place = async (key: string, patient: string) =>
    (await send(full, 'POST', '/v1/drains', placement(key, '08:00', { patient: { reference: patient } })))
      .body.drain;
  mine = await place('mine', 'Patient/1');
  other = await place('other', 'Patient/2');
  device = (await send(full, 'POST', '/v1/devices', registration('r1'))).body.device;
  strange = (await send(full, 'POST', '/v1/devices', registration('r2', id('stranger')))).body.device;
  for (const message of [assigned('a1', mine, '08:00', '10:00'), assigned('a2', other, '10:00')])
    expect((await send(full, 'POST', `/v1/devices/${device}/assignments`, message)).status).toBe(201);
  const elsewhere = assigned('a3', other, '08:00');
  expect((await send(full, 'POST', `/v1/devices/${strange}/assignments`, elsewhere)).status).toBe(201);
});
afterAll(() => guarded.stop());

test('each route has its scope', async () => {
  const needs = async (scope: string, method: string, path: string, body?: object) => {
    const others = ['c', 'r', 'u', 's']
      .flatMap((action) => [`system/Device.${action}`, `system/Observation.${action}`])
      .filter((each) => each !== scope);
    expect((await send(guarded.key(others.join(' ')), method, path, body)).status).toBe(403);
    expect((await send(guarded.key(scope), method, path, body)).status).toBeLessThan(300);
  };
  await needs('system/Device.c', 'POST', '/v1/devices', registration('r3', id('new')));
  await needs(
    'system/Device.u',
    'POST',
    `/v1/devices/${device}/assignments`,
    assigned('a9', mine, '06:00', '06:30'),
  );
  await needs('system/Device.s', 'GET', '/v1/devices');
  await needs('system/Device.r', 'GET', `/v1/devices/${device}`);
  await needs('system/Device.r', 'GET', `/v1/devices/${device}/entries`);
  await needs('system/Observation.s', 'GET', '/v1/unmatched');
  await needs('system/Observation.c', 'POST', '/v1/device-entries', byDevice('n1', '09:00', 10));
});

const confinedTo = {
  'one drain': () => guarded.key('system/*.crus', { patient: null, drain: mine }),
  'one patient': () => guarded.key('system/*.crus', { patient: { reference: 'Patient/1' }, drain: null }),
} as const;

test.each(Object.entries(confinedTo))('a client of %s', async (name, key) => {
  const client = key();
  // It charts what was read on its own drain, and nothing that goes elsewhere or nowhere.
  const post = (own: string, time: string) =>
    send(client, 'POST', '/v1/device-entries', byDevice(`${name} ${own}`, time, 10));
  expect(await post('own', '09:30')).toMatchObject({ status: 201, body: { drain: mine } });
  expect((await post('other', '10:00')).status).toBe(403);
  expect((await post('nowhere', '07:00')).status).toBe(403);
  // Nor is it told where the device was: neither by what it sends for the device, nor by naming a drain beside it.
  const told = [
    (await post('other', '10:00')).body,
    (await send(client, 'POST', '/v1/device-entries?dry-run=true', byDevice(`${name} d`, '10:00', 10))).body,
    (await send(client, 'POST', `/v1/drains/${mine}/entries`, byDevice(`${name} e`, '10:00', 10))).body,
  ];
  expect(told[0].errors[0]).toMatchObject({
    pointer: '/device',
    value: expect.stringContaining('monitor-1'),
  });
  expect(told[2].errors[0].mend).toContain('the device was on another drain then');
  expect(JSON.stringify(told)).not.toContain(other);
  const { outcomes } = (
    await send(client, 'POST', '/v1/entries', { entries: [byDevice(`${name} b`, '10:00', 10)] })
  ).body;
  expect(outcomes[0].status).toBe(403);
  expect((await send(full, 'GET', '/v1/unmatched')).body.count).toBe(0);

  // It sees of devices only when they were on its own drain.
  const { devices } = (await send(client, 'GET', '/v1/devices')).body;
  expect(devices.map((each: { device: string }) => each.device)).toEqual([device]);
  expect(devices[0].drain).toBeNull();
  expect(JSON.stringify(devices)).not.toContain(other);
  expect((await send(client, 'GET', `/v1/devices/${device}`)).body).toEqual(devices[0]);
  expect((await send(client, 'GET', `/v1/devices/${strange}`)).status).toBe(404);
  for (const path of [`/v1/devices/${device}/entries`, '/v1/unmatched'])
    expect((await send(client, 'GET', path)).status).toBe(403);

  // It moves nothing away to others, nor from others to itself, and registers nothing.
  const assign = (of: string, message: object) =>
    send(client, 'POST', `/v1/devices/${of}/assignments`, message);
  for (const message of [
    assigned(`${name} n1`, other, '06:30', '07:00'),
    reassigned(`${name} n2`, 'a1', other, '08:00', '10:00'),
    reassigned(`${name} n3`, 'a2', mine, '10:00'),
  ])
    expect((await assign(device, message)).status).toBe(403);
  expect((await send(client, 'POST', '/v1/devices', registration(`${name} r`, id(name)))).status).toBe(403);
  const [from, to] = name === 'one drain' ? ['04:00', '04:30'] : ['05:00', '05:30'];
  expect((await assign(device, assigned(`${name} n4`, mine, from, to))).status).toBe(201);
});

const UNIT = 'http://example.org/drainledger/CodeSystem/chest-drain-unit';
const DEVICE_RESOURCE = {
  resourceType: 'Device',
  identifier: [id('newcomer')],
  type: { coding: [{ system: UNIT, code: 'monitor' }] },
};

test.each(Object.entries(confinedTo))(
  'over FHIR, a client of %s assigns to its own drain alone, and is shown nothing',
  async (name, key) => {
    const client = key();
    const [start, end, later] = (name === 'one drain' ? ['02', '03', '04'] : ['05', '06', '07']).map(
      (hour) => `2025-02-01T${hour}:00:00Z`,
    );
    const use = (of: string, drain: string, patient: string) => ({
      ...{ resourceType: 'DeviceUseStatement', identifier: [id(`${name} ${of}`)], status: 'completed' },
      ...{ subject: { reference: patient }, device: { identifier: MONITOR } },
      derivedFrom: [{ identifier: id(drain) }],
      timingPeriod: { start, end },
    });
    const post = (body: { readonly resourceType: string }) =>
      send(client, 'POST', `/fhir/${body.resourceType}`, body);
    const taken = await post(use('u1', 'mine', 'Patient/1'));
    expect(taken.status).toBe(201);
    const elsewhere = {
      ...use('u0', 'other', 'Patient/2'),
      timingPeriod: { start: end, end: later },
    };
    // What another was answered is not told again to whoever sends the same.
    expect((await send(full, 'POST', '/fhir/DeviceUseStatement', elsewhere)).status).toBeLessThan(300);
    const refused = [
      await post(use('u2', 'other', 'Patient/2')),
      await post(use('u3', 'other', 'Patient/1')),
      await send(client, 'GET', '/fhir/DeviceUseStatement'),
      await send(client, 'GET', `/fhir/DeviceUseStatement/${taken.body.id}`),
      await send(client, 'PUT', `/fhir/Device/registered.device-${device}.x`, { resourceType: 'Device' }),
      await post(DEVICE_RESOURCE),
      await post(elsewhere),
    ];
    expect(refused.map(({ status }) => status)).toEqual(refused.map(() => 403));
    expect(JSON.stringify(refused)).not.toContain(other);
  },
);

describe.each(Object.entries(confinedTo))(
  'of what is not theirs, a client of %s is told nothing',
  (name, key) => {
    const client = () => key();
    const act = (message: object) => send(client(), 'POST', `/v1/devices/${device}/assignments`, message);

    test('by an assignment that overlaps, by one that names theirs, or by a drain that may not be there', async () => {
      const refused = [
        await act(assigned(`${name} t1`, mine, '11:00', '12:00')),
        await act(closed(`${name} t2`, 'a2', '09:00')),
        await act(closed(`${name} t3`, 'a2', '11:00')),
        await act(assigned(`${name} t4`, 'aaaaaaaaaaaaaaaa', '06:30', '07:00')),
      ];
      for (const { status, body } of refused) {
        expect(status).toBe(403);
        expect(body.errors[0]).toMatchObject({ pointer: '/device', value: JSON.stringify(device) });
      }
      expect(JSON.stringify(refused)).not.toContain(other);
    });

    test('by an identifier that is used already, or by a message that another sent', async () => {
      const message = byDevice('of another', '11:00', 340);
      await send(full, 'POST', '/v1/device-entries', message);
      const own = await send(client(), 'POST', `/v1/drains/${mine}/entries`, level('of another', '09:00', 5));
      expect([own.status, own.body.errors[0].pointer]).toEqual([409, '/identifier']);
      const again = await send(client(), 'POST', '/v1/device-entries', message);
      expect([again.status, again.body.errors[0].pointer]).toEqual([403, '/identifier']);
      const moved = await act(assigned('a3', mine, '03:00', '03:30'));
      expect([moved.status, moved.body.errors[0].pointer]).toEqual([409, '/identifier']);
      for (const { body } of [own, again, moved]) expect(body).not.toHaveProperty('first');
      expect(JSON.stringify([own, again, moved])).not.toContain(other);
      // What it sent itself is answered as it was before.
      const [from, to] = name === 'one drain' ? ['04:00', '04:30'] : ['05:00', '05:30'];
      const mineAgain = await act(assigned(`${name} n4`, mine, from, to));
      expect([mineAgain.status, mineAgain.body.kind]).toEqual([200, 'assigned']);
      const clash = await act(assigned(`${name} n4`, mine, from, '07:30'));
      expect(clash.body.first).toEqual(mineAgain.body);
    });

    test('by the CSV of its drain, of an entry that turned out to be of another', async () => {
      const [from, to] = name === 'one drain' ? ['01:00', '01:30'] : ['02:00', '02:30'];
      const post = (path: string, message: object) => send(full, 'POST', path, message);
      const assignments = `/v1/devices/${device}/assignments`;
      await post(assignments, assigned(`${name} c1`, mine, from, to));
      expect((await post('/v1/device-entries', byDevice(`${name} c2`, from, 70))).body.drain).toBe(mine);
      expect((await post(assignments, reassigned(`${name} c3`, `${name} c1`, other, from, to))).status).toBe(
        201,
      );
      const csvFor = async (token: string) => {
        const { text } = await guarded.send(token, 'GET', `/v1/drains/${mine}/export.csv`);
        const lines: Readonly<Record<string, string>>[] = parse(text, { columns: true });
        return lines.filter(({ identifier_value }) => identifier_value === `${name} c2`);
      };
      expect(await csvFor(full)).toMatchObject([{ status: 'elsewhere', counts_for: other }]);
      expect(await csvFor(client())).toMatchObject([{ status: 'elsewhere', counts_for: 'another drain' }]);
    });

    test('of whom a sender meant by what the device read', async () => {
      const [from, to] = name === 'one drain' ? ['00:10', '00:20'] : ['00:30', '00:40'];
      const observation = observedLevel(`${name} o`, from, 10, {
        focus: null,
        performer: null,
        device: { identifier: MONITOR },
        subject: { reference: 'Patient/3' },
      });
      expect((await send(full, 'POST', '/fhir/Observation', observation)).status).toBe(202);
      const { status, body } = await act(assigned(`${name} o2`, mine, from, to));
      expect([status, JSON.stringify(body).includes('Patient/3')]).toEqual([403, false]);
    });
  },
);
