/** Who may register and assign devices, and what a client that is confined to one drain or patient sees and does of them. */
import { afterAll, beforeAll, expect, test } from 'vitest';
import { type Guarded, startGuarded } from './access-control.ts';
import { assigned, byDevice, reassigned, registration } from './device-ward.ts';
import { id, placement } from './messages.ts';

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
