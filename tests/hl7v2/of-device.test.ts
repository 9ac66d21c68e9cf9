/**
 * ORU^R01 messages that name a device and no drain (HL7 v2.6 7.4.2.18 OBX-18; IHE PCD-01). Wards, devices and times are invented.
 */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { startGuarded } from '../http/access-control.ts';
import { assigned, reassigned, registration, retired, withdrawn } from '../http/device-ward.ts';
import { placeDrain, placement, setUp, type TestDrain, tell } from '../http/messages.ts';
import { startTestService, type TestService } from '../http/service.ts';
import { levelObx, MAPPING, message, obx, readAck, type Said, writeMapping } from './messages.ts';

let service: TestService;
let folder: string;
let first: TestDrain;
let second: TestDrain;
let device: string;

const MRN = { system: 'urn:example:mrn', authority: 'HOSP' };
const patient = (value: string) => ({ patient: { identifier: { system: MRN.system, value } } });

beforeEach(async () => {
  folder = mkdtempSync(join(tmpdir(), 'hl7v2-device-'));
  const mapping = writeMapping(folder, { ...MAPPING, patient: MRN });
  service = await startTestService({ DRAINLEDGER_HL7V2: mapping });
  first = await placeDrain(service, 'first', '08:00', patient('p1'));
  second = await placeDrain(service, 'second', '08:00', patient('p2'));
  await tell(first, setUp('first-up', '08:00', 0));
  await tell(second, setUp('second-up', '08:00', 0));
});
afterEach(async () => {
  await service.stop();
  rmSync(folder, { recursive: true });
});

async function register(): Promise<void> {
  const known = { system: 'urn:example:devices', value: '7' };
  const { text } = await service.send('POST', '/v1/devices', registration('registered', known));
  device = JSON.parse(text).device;
}
const assign = (act: object) => service.send('POST', `/v1/devices/${device}/assignments`, act);
async function send(said: Said, ...results: readonly string[]) {
  const text = message({ drain: '', ...said }, ...results);
  const answer = await service.send('POST', '/v1/hl7v2', text, { 'content-type': 'application/hl7-v2' });
  return readAck(answer.text);
}
const get = async (path: string) => JSON.parse((await service.send('GET', path)).text);
const levelsOf = async ({ drain }: TestDrain): Promise<readonly number[]> =>
  (await get(`/v1/drains/${drain}/chart`)).rows
    .filter(({ kind }: { kind: string }) => kind === 'reading')
    .map(({ charted }: { charted: { level_ml: number } }) => charted.level_ml);
const unmatched = async (): Promise<number> => (await get('/v1/unmatched')).count;
const unmapped = async () => (await get('/v1/hl7v2/unmapped')).unmapped.length;

describe('a message of a registered device', () => {
  beforeEach(register);

  test('that is out of use is taken and listed; of one whose registration was withdrawn it is kept as unmapped', async () => {
    const chart = (act: object) => service.send('POST', `/v1/devices/${device}/entries`, act);
    expect((await chart(retired('out', '08:00'))).status).toBe(201);
    expect((await send({}, levelObx('120'))).code).toBe('AA');
    expect([await unmatched(), await unmapped()]).toEqual([1, 0]);
    expect((await chart(withdrawn('w1', 'out'))).status).toBe(201);
    expect((await chart(withdrawn('never', 'registered'))).status).toBe(201);
    const { code, errors } = await send({ controlId: 'm2', order: 'o2' }, levelObx('130'));
    expect([code, errors[0]?.text]).toEqual(['AE', expect.stringContaining('its device is not registered')]);
    expect([await unmatched(), await unmapped()]).toEqual([1, 1]);
  });

  test('counts for the drain that the device was on', async () => {
    expect((await assign(assigned('a1', first.drain, '08:00', '10:00'))).status).toBe(201);
    expect((await assign(assigned('a2', second.drain, '10:00'))).status).toBe(201);
    expect(await send({}, levelObx('120'))).toMatchObject({ code: 'AA' });
    const later = { controlId: 'm2', order: 'o2', at: '20250301103000+0000', patient: 'p2' };
    expect(await send(later, levelObx('30'))).toMatchObject({ code: 'AA' });
    expect([await levelsOf(first), await levelsOf(second)]).toEqual([[120], [30]]);
  });

  test('on no drain is acknowledged, listed, and counts once the device is assigned; told again it is one', async () => {
    expect(await send({}, levelObx('120'))).toMatchObject({ code: 'AA', errors: [] });
    expect(await send({}, levelObx('120'))).toMatchObject({ code: 'AA' });
    expect([await unmatched(), await unmapped()]).toEqual([1, 0]);
    expect((await assign(assigned('a1', first.drain, '08:00'))).status).toBe(201);
    expect(await send({ controlId: 'm2' }, levelObx('120'))).toMatchObject({ code: 'AA' });
    expect([await unmatched(), await levelsOf(first)]).toEqual([0, [120]]);
  });

  test.each(['before it counts', 'where it counts'])('is corrected and taken back %s', async (when) => {
    const place = async () => expect((await assign(assigned('a1', first.drain, '08:00'))).status).toBe(201);
    if (when === 'where it counts') await place();
    await send({}, levelObx('120'), obx('CWE', 'SWING^^99WARD', 'Y^yes^99WARD'));
    expect(await send({ controlId: 'm2' }, levelObx('102', 'C'))).toMatchObject({ code: 'AA' });
    await send({ order: 'o2', at: '20250301093000+0000' }, levelObx('200'));
    const gone = { controlId: 'm3', order: 'o2', at: '20250301093000+0000' };
    expect(await send(gone, levelObx('', 'D'))).toMatchObject({ code: 'AA' });
    if (when === 'before it counts') await place();
    expect([await levelsOf(first), await unmatched(), await unmapped()]).toEqual([[102], 0, 0]);
    // What a correction puts in place names no device: that is the entry's own.
    if (when === 'where it counts') expect(await first.ledger()).not.toContain('"replacement":{"device"');
  });

  test('of another patient than the drain is linked to is kept as unmapped', async () => {
    await assign(assigned('a1', first.drain, '08:00'));
    expect(await send({ patient: 'p2' }, levelObx('120'))).toMatchObject({
      code: 'AE',
      errors: [{ place: 'PID^1^3' }],
    });
    expect([await levelsOf(first), await unmapped()]).toEqual([[], 1]);
  });

  test('is taken into the record of no other patient by an assignment', async () => {
    await send({ patient: 'p2' }, levelObx('120'));
    expect((await assign(assigned('a1', first.drain, '08:00'))).status).toBe(422);
    expect((await assign(assigned('a2', second.drain, '08:00'))).status).toBe(201);
    expect((await assign(reassigned('a3', 'a2', first.drain, '08:00'))).status).toBe(422);
    expect([await levelsOf(first), await levelsOf(second)]).toEqual([[], [120]]);
  });

  test('a body weight needs its drain', async () => {
    await assign(assigned('a1', first.drain, '08:00'));
    const weight = obx('NM', '29463-7^^LN', '70.5', '263875^MDC_DIM_KILO_G^MDC');
    expect(await send({}, weight)).toMatchObject({
      code: 'AE',
      errors: [{ place: 'PV1^1^19', condition: '101' }],
    });
  });
});

test('of a device that nobody registered it is kept as unmapped, and taken when it is registered and retried', async () => {
  expect(await send({}, levelObx('120'))).toMatchObject({
    code: 'AE',
    errors: [{ place: 'PV1^1^19', condition: '101' }],
  });
  await register();
  await assign(assigned('a1', first.drain, '08:00'));
  expect((await service.send('POST', '/v1/hl7v2/unmapped/1/retry')).status).toBe(200);
  expect([await levelsOf(first), await unmapped()]).toEqual([[120], 0]);
});

test('a client that is confined to a drain charts nothing for the drain that the device was on instead', async () => {
  const guarded = await startGuarded({ DRAINLEDGER_HL7V2: writeMapping(folder) });
  try {
    const all = guarded.key('system/*.cruds');
    const write = async (path: string, body: object) => {
      const answer = await guarded.send(all, 'POST', path, body);
      expect(answer.status, answer.text).toBe(201);
      return JSON.parse(answer.text);
    };
    const { drain: mine } = await write('/v1/drains', placement('mine', '08:00'));
    const { drain: other } = await write('/v1/drains', placement('other', '08:00'));
    const post = (key: string) => {
      const bytes = Buffer.from(message({ drain: '' }, levelObx('120')));
      return guarded.send(key, 'POST', '/v1/hl7v2', bytes, { 'content-type': 'application/hl7-v2' });
    };
    const ofMine = guarded.key('system/Observation.cu', { patient: null, drain: mine });
    const unregistered = await post(ofMine);
    const known = { system: 'urn:example:devices', value: '7' };
    const { device: name } = await write('/v1/devices', registration('registered', known));
    await write(`/v1/devices/${name}/assignments`, assigned('a1', other, '08:00'));
    const refused = await post(ofMine);
    expect([refused.status, readAck(refused.text).code]).toEqual([403, 'AR']);
    // Nor is it told whether the device is registered.
    expect([unregistered.status, readAck(unregistered.text)]).toEqual([403, readAck(refused.text)]);
    const taken = await post(guarded.key('system/Observation.cu', { patient: null, drain: other }));
    expect([taken.status, readAck(taken.text).code]).toEqual([200, 'AA']);
  } finally {
    await guarded.stop();
  }
});
