/**
 * Observations that name a device and no drain count for the drain that the device was on. Sources: FHIR R4
 * observation.html (focus, device, subject), http.html (create, conditional create, 202); the wards and times are invented.
 */
import type { AuditEvent } from 'fhir/r4.js';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import {
  assigned,
  byDevice,
  MONITOR,
  reassigned,
  registerMonitor,
  type TestDevice,
  withdrawn,
} from './device-ward.ts';
import { bundleOf, create, level, quantity, raw } from './fhir-messages.ts';
import { issueOf, openWard, type Ward } from './fhir-ward.ts';
import { content, corrected, id, placeDrain, setUp, type TestDrain, tell } from './messages.ts';

let ward: Ward;
let other: TestDrain;
let monitor: TestDevice;

beforeEach(async () => {
  ward = await openWard();
  other = await placeDrain(ward.service, 'other', '08:00', { patient: { reference: 'Patient/2' } });
  await tell(other, setUp('other-up', '08:00', 0));
  monitor = await registerMonitor(ward.service);
});
afterEach(() => ward.service.stop());

const OF_DEVICE = { focus: null, performer: null, device: { identifier: MONITOR } };
const read = (key: string, time: string, ml: number, more: object = {}) =>
  level(key, time, ml, { ...OF_DEVICE, ...more });
const assign = async (message: object) => expect((await monitor.assign(message)).status).toBe(201);
const unmatched = async () => JSON.parse((await ward.service.send('GET', '/v1/unmatched')).text).unmatched;
const netOf = async ({ row }: TestDrain, key: string) => (await row(key)).interval?.net_ml;

describe('what names a device alone', () => {
  test('is charted on the drain that the device was on at its time', async () => {
    await assign(assigned('a1', ward.drain.drain, '08:00', '10:00'));
    await assign(assigned('a2', other.drain, '10:00'));
    const first = await ward.post(read('o1', '09:59', 100));
    const second = await ward.post(read('o2', '10:00', 40, { subject: { reference: 'Patient/2' } }));
    expect([first.status, second.status], first.text + second.text).toEqual([201, 201]);
    expect(JSON.parse(first.text)).toMatchObject({
      subject: { reference: 'Patient/1' },
      device: { identifier: MONITOR },
      valueQuantity: { value: 100 },
    });
    expect(JSON.parse(second.text).subject).toEqual({ reference: 'Patient/2' });
    expect([await netOf(ward.drain, 'o1'), await netOf(other, 'o2')]).toEqual([100, 40]);
  });

  test('beside a person who read it is charted by that person', async () => {
    await assign(assigned('a1', ward.drain.drain, '08:00'));
    const answer = await ward.post(
      read('o1', '09:00', 100, { performer: [{ reference: 'Practitioner/n1' }] }),
    );
    expect(answer.status, answer.text).toBe(201);
    const { body } = (await ward.written()).at(-1) ?? { body: {} };
    expect(body).toMatchObject({ device: MONITOR, author: { type: 'person', reference: 'Practitioner/n1' } });
  });

  test('of whom its sender said that it is: who lists it is known to have seen something of that patient', async () => {
    const sent = read('o1', '09:00', 100, { subject: { reference: 'Patient/9' } });
    expect((await ward.post(sent)).status).toBe(202);
    expect(await unmatched()).toHaveLength(1);
    const { text } = await ward.service.send('GET', '/fhir/AuditEvent?patient=9&subtype=search-type');
    expect(
      JSON.parse(text).entry.map(({ resource }: { resource: AuditEvent }) =>
        (resource.entity ?? []).map(({ what, query }) => what?.reference ?? atob(query ?? '')),
      ),
    ).toEqual([['Patient/9', 'GET /v1/unmatched']]);
  });

  test('counts for no drain while the device is on none: 202, listed, and issued once it is assigned', async () => {
    const sent = read('o1', '09:00', 100);
    const early = await ward.post(sent);
    expect(early.status).toBe(202);
    expect(issueOf(early.text)).toMatchObject({
      code: 'informational',
      diagnostics: expect.stringContaining('/v1/unmatched'),
    });
    expect(early.headers.get('location')).toBeNull();
    expect((await unmatched()).map(({ body }: { body: { identifier: object } }) => body.identifier)).toEqual([
      id('o1'),
    ]);
    expect((await ward.post(sent)).status).toBe(202);
    expect(await unmatched()).toHaveLength(1);
    await assign(assigned('a1', ward.drain.drain, '08:00'));
    expect(await unmatched()).toEqual([]);
    const again = await ward.post(sent);
    expect(again.status, again.text).toBe(200);
    expect(JSON.parse(again.text)).toMatchObject({ valueQuantity: { value: 100 }, status: 'final' });
    expect((await ward.service.send('GET', new URL(again.headers.get('location') ?? '').pathname)).text).toBe(
      again.text,
    );
  });

  test('is found where it counts by whoever sends it again, after a move too', async () => {
    const third = await placeDrain(ward.service, 'third', '08:00', { patient: { reference: 'Patient/1' } });
    await tell(third, setUp('third-up', '08:00', 0));
    await assign(assigned('a1', ward.drain.drain, '08:00'));
    const sent = read('o1', '09:00', 100);
    expect((await ward.post(sent)).status).toBe(201);
    await assign(reassigned('a2', 'a1', third.drain, '08:00'));
    const again = await ward.post(sent);
    expect(again.status).toBe(200);
    expect(JSON.parse(again.text)).toMatchObject({ status: 'final', valueQuantity: { value: 100 } });
    expect(JSON.parse(again.text).id).toContain(third.drain);
  });

  test('is not made twice by If-None-Exist, whichever door it came by and wherever it counts', async () => {
    await monitor.post(byDevice('o1', '09:00', 100));
    const headers = { 'if-none-exist': 'identifier=urn:example:ward|o1' };
    expect((await ward.post(read('o1', '09:30', 120), headers)).status).toBe(202);
    await assign(assigned('a1', ward.drain.drain, '08:00'));
    const found = await ward.post(read('o1', '09:30', 120), headers);
    expect(found.status).toBe(200);
    expect(await netOf(ward.drain, 'o1')).toBe(100);
    expect((await ward.post(read('o1', '09:30', 120))).status).toBe(409);
  });
});

describe('whose it is', () => {
  test('another patient than the one of the drain that the device was on is refused', async () => {
    await assign(assigned('a1', ward.drain.drain, '08:00'));
    const answer = await ward.post(read('o1', '09:00', 100, { subject: { reference: 'Patient/2' } }));
    expect(answer.status).toBe(422);
    expect(issueOf(answer.text)).toMatchObject({
      code: 'business-rule',
      expression: ['Observation.subject'],
    });
    expect(await unmatched()).toEqual([]);
  });

  test('no assignment takes what is said to be of one patient into the record of another', async () => {
    expect((await ward.post(read('o1', '09:00', 100, { subject: { reference: 'Patient/2' } }))).status).toBe(
      202,
    );
    const wrong = await monitor.assign(assigned('a1', ward.drain.drain, '08:00'));
    expect(wrong.status).toBe(422);
    expect(JSON.parse(wrong.text)).toMatchObject({
      type: 'urn:drainledger:problem:patient-differs',
      errors: [{ pointer: '/drain', value: expect.stringContaining('o1') }],
    });
    expect(await unmatched()).toHaveLength(1);
    await assign(assigned('a2', other.drain, '08:00'));
    expect(await netOf(other, 'o1')).toBe(100);
    const moved = await monitor.assign(reassigned('a3', 'a2', ward.drain.drain, '08:00'));
    expect(moved.status).toBe(422);
    expect(JSON.parse(moved.text).errors[0].pointer).toBe('/replacement/drain');
    // Taken off it counts for nobody, which is nobody else.
    await assign(withdrawn('a4', 'a2'));
    expect(await unmatched()).toHaveLength(1);
  });

  test('nor does a correction of its time', async () => {
    await assign(assigned('a1', ward.drain.drain, '08:00', '09:00'));
    const stray = read('o1', '09:30', 100, { subject: { reference: 'Patient/2' } });
    expect((await ward.post(stray)).status).toBe(202);
    const earlier = content(byDevice('', '08:30', 100, { device: undefined }));
    const answer = await monitor.post({ ...corrected('c1', 'o1', earlier), device: MONITOR });
    expect(answer.status, answer.text).toBe(422);
    expect(JSON.parse(answer.text).type).toBe('urn:drainledger:problem:patient-differs');
    expect(await unmatched()).toHaveLength(1);
  });
});

describe('what stays as it was', () => {
  test('beside focus, device says who charted, wherever it is assigned', async () => {
    await assign(assigned('a1', other.drain, '08:00'));
    const answer = await ward.post(read('o1', '09:00', 100, { focus: [{ identifier: id('placed') }] }));
    expect(answer.status, answer.text).toBe(201);
    expect(await netOf(ward.drain, 'o1')).toBe(100);
    expect((await ward.written()).at(-1)?.body).not.toHaveProperty('device');
  });

  test.each([
    ['neither drain nor device', raw('x', 'level', '09:00', { ...quantity(1, 'mL'), focus: null }), 'focus'],
    [
      'a device by reference',
      read('x', '09:00', 1, { device: { reference: 'Device/1' } }),
      'device.identifier',
    ],
    ['a body weight', raw('x', 'body-weight', '09:00', { ...quantity(70, 'kg'), ...OF_DEVICE }), 'focus'],
  ])('%s is refused, with the element that is missing', async (_, sent, element) => {
    const answer = await ward.post(sent);
    expect(answer.status, answer.text).toBe(422);
    expect(issueOf(answer.text)).toMatchObject({ code: 'required', expression: [`Observation.${element}`] });
  });
});

describe('in bundles, and afterwards', () => {
  test('a transaction takes what matched and what did not; a batch answers each', async () => {
    await assign(assigned('a1', ward.drain.drain, '08:00', '10:00'));
    const entries = (prefix: string) => [
      create(read(`${prefix}1`, '09:00', 100)),
      create(read(`${prefix}2`, '11:00', 150)),
    ];
    for (const type of ['transaction', 'batch'] as const) {
      const answer = await ward.post(bundleOf(type, ...entries(type)), {}, '/fhir');
      expect(answer.status, answer.text).toBe(200);
      const { entry: answers } = JSON.parse(answer.text);
      expect(answers.map(({ response }: { response: { status: string } }) => response.status)).toEqual([
        expect.stringMatching(/^201/),
        expect.stringMatching(/^202/),
      ]);
      expect(answers[1].response.outcome.issue[0].diagnostics).toContain('/v1/unmatched');
    }
    expect(await unmatched()).toHaveLength(2);
  });

  test('a transaction with one for the wrong patient writes nothing', async () => {
    await assign(assigned('a1', ward.drain.drain, '08:00'));
    const wrong = read('t2', '09:30', 120, { subject: { reference: 'Patient/2' } });
    const sent = bundleOf('transaction', create(read('t1', '09:00', 100)), create(wrong));
    const answer = await ward.post(sent, {}, '/fhir');
    expect(answer.status).toBe(422);
    expect(issueOf(answer.text).expression).toEqual(['Bundle.entry[1].resource.subject']);
    expect(await ward.written()).toHaveLength(2);
  });

  test('an update corrects it where it counts, and not to a time at which its device was elsewhere', async () => {
    await assign(assigned('a1', ward.drain.drain, '08:00', '10:00'));
    const { id: resource } = JSON.parse((await ward.post(read('o1', '09:00', 100))).text);
    const away = await ward.put(resource, read('o1', '11:00', 110), { 'if-match': 'W/"1"' });
    expect(away.status, away.text).toBe(422);
    expect(issueOf(away.text).expression).toEqual(['Observation.effective']);
    const updated = await ward.put(resource, read('o1', '09:00', 110), { 'if-match': 'W/"1"' });
    expect(updated.status, updated.text).toBe(200);
    expect(await netOf(ward.drain, 'o1')).toBe(110);
  });
});
