/**
 * Devices and where they were, as FHIR R4 Device and DeviceUseStatement (device.html, deviceusestatement.html): sent, shown and
 * found, by the same rules as at /v1. Resources are judged by the R4 schema; the client is fhir-kit-client. All of it is invented.
 */

import type { Bundle, Device, DeviceUseStatement, OperationOutcome } from 'fhir/r4.js';
import { Client as FhirClient } from 'fhir-kit-client';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { problemsOf } from '../support/r4.ts';
import { byDevice, MONITOR, twoDrains, withdrawn } from './device-ward.ts';
import { at, entry, id, placeDrain, type TestDrain, tell, voided } from './messages.ts';
import { startTestService, type TestService } from './service.ts';

const CANONICAL = 'http://example.org/drainledger';
const UNIT = `${CANONICAL}/CodeSystem/chest-drain-unit`;
const FHIR = { 'content-type': 'application/fhir+json' };

let service: TestService;
let first: TestDrain;
let second: TestDrain;

beforeEach(async () => {
  service = await startTestService();
  [first, second] = await twoDrains(service);
});
afterEach(() => service.stop());

const device = (more: object = {}) => ({
  resourceType: 'Device',
  identifier: [MONITOR],
  serialNumber: 'invented 7',
  type: { coding: [{ system: UNIT, code: 'monitor' }] },
  ...more,
});
const use = (key: string, patient: number, from: string, more: object = {}) => ({
  resourceType: 'DeviceUseStatement',
  identifier: [id(key)],
  status: 'active',
  subject: { reference: `Patient/${patient}` },
  device: { identifier: MONITOR },
  derivedFrom: [{ type: 'Procedure', identifier: id(patient === 1 ? 'first' : 'second') }],
  timingPeriod: { start: at(from) },
  source: { reference: 'Practitioner/n1' },
  reasonCode: [{ text: 'connected at the bedside' }],
  ...more,
});

interface Answer<T> {
  readonly status: number;
  readonly body: T;
  readonly headers: Headers;
}
async function send<T>(
  method: string,
  path: string,
  body?: object,
  headers: object = {},
): Promise<Answer<T>> {
  const answer = await service.send(method, `/fhir${path}`, body, {
    ...(body === undefined ? {} : FHIR),
    ...headers,
  });
  return { status: answer.status, headers: answer.headers, body: JSON.parse(answer.text) as T };
}
const post = <T>(resource: { readonly resourceType: string }, headers: object = {}) =>
  send<T>('POST', `/${resource.resourceType}`, resource, headers);
const put = <T>(resource: { readonly resourceType: string; readonly id: string }, version: string) =>
  send<T>('PUT', `/${resource.resourceType}/${resource.id}`, resource, { 'if-match': `W/"${version}"` });
const get = async (path: string) => JSON.parse((await service.send('GET', path)).text);

async function registered(): Promise<Device & { readonly id: string }> {
  const { status, body } = await post<Device & { readonly id: string }>(device());
  expect(status).toBe(201);
  return body;
}
type Use = DeviceUseStatement & { readonly id: string };
async function used(...said: Parameters<typeof use>): Promise<Use> {
  const { status, body } = await post<Use>(use(...said));
  expect([status, body]).toMatchObject([201, {}]);
  return body;
}
const wordsOf = ({ body }: Answer<OperationOutcome>): readonly unknown[] =>
  body.issue.flatMap(({ expression = [], diagnostics }) => [expression[0], diagnostics]);
const readingsOf = async ({ drain }: TestDrain) =>
  (await get(`/v1/drains/${drain}/chart`)).rows
    .filter(({ kind }: { kind: string }) => kind === 'reading')
    .map(({ identifier }: { identifier: { value: string } }) => identifier.value);

describe('a Device that is sent', () => {
  it('is a registration as at /v1, shown, found, and kept as it was sent', async () => {
    const shown = await registered();
    expect(problemsOf(shown as never)).toEqual([]);
    expect(shown).toMatchObject({
      status: 'active',
      identifier: [MONITOR],
      type: { coding: [{ code: 'monitor' }] },
    });
    const { devices } = await get('/v1/devices');
    expect(devices).toMatchObject([{ identifier: MONITOR, type: 'monitor', status: 'active' }]);
    const { entries } = await get(`/v1/devices/${devices[0].device}/entries`);
    expect(JSON.parse(entries[0].body.received.resource)).toEqual(device());
    expect((await send<Device>('GET', `/Device/${shown.id}`)).body).toEqual(shown);
    for (const query of [`identifier=${MONITOR.system}|${MONITOR.value}`, 'type=monitor', 'status=active']) {
      const { body } = await send<Bundle>('GET', `/Device?${query}`);
      expect([query, body.entry?.map(({ resource }) => resource?.id)]).toEqual([query, [shown.id]]);
    }
  });

  it('is the same again, and of one that is registered at /v1 there is a Device as well', async () => {
    const shown = await registered();
    const again = await post<Device>(device());
    expect([again.status, again.body]).toEqual([200, shown]);
    const other = await post<OperationOutcome>(device({ serialNumber: 'invented 8' }));
    expect([other.status, wordsOf(other)[0]]).toEqual([409, 'Device.identifier[0]']);
    const unlessKnown = { 'if-none-exist': `identifier=${MONITOR.system}|${MONITOR.value}` };
    expect((await post(device({ serialNumber: 'invented 8' }), unlessKnown)).status).toBe(200);
    const native = { ...{ identifier: id('r2'), author: { type: 'person', reference: 'Practitioner/n1' } } };
    await service.send('POST', '/v1/devices', {
      ...native,
      effective_at: at('08:00'),
      device: id('m8'),
      type: 'monitor',
    });
    const { body } = await send<Bundle>('GET', `/Device?identifier=${id('m8').system}|m8`);
    expect(body.entry).toHaveLength(1);
  });

  it('is corrected, retired, brought back and withdrawn by updates, whose versions stay', async () => {
    const { id: name } = await registered();
    const to = (more: object) => ({ ...device(more), resourceType: 'Device', id: name }) as never;
    const unit = { coding: [{ system: UNIT, code: 'collection-unit' }] };
    const steps = [
      [{ type: unit }, { status: 'active', type: { coding: [{ code: 'collection-unit' }] } }],
      [
        { type: unit, status: 'inactive', statusReason: [{ text: 'sent for repair' }] },
        { status: 'inactive' },
      ],
      [{ type: unit, status: 'active' }, { status: 'active' }],
      [{ type: unit, status: 'entered-in-error' }, { status: 'entered-in-error' }],
    ] as const;
    for (const [n, [said, shown]] of steps.entries()) {
      const answer = await put<Device>(to(said), String(n + 1));
      expect([answer.status, answer.body]).toMatchObject([
        200,
        { ...shown, meta: { versionId: String(n + 2) } },
      ]);
      expect(problemsOf(answer.body as never)).toEqual([]);
      expect((await put<Device>(to(said), String(n + 1))).body).toEqual(answer.body);
    }
    const { body } = await send<Bundle>('GET', `/Device/${name}/_history`);
    expect(body.total).toBe(5);
    const [{ device: own }] = (await get('/v1/devices')).devices;
    const { entries } = await get(`/v1/devices/${own}/entries`);
    expect(
      entries.map(({ body: { kind, reason } }: { body: { kind: string; reason?: string } }) => [
        kind,
        reason,
      ]),
    ).toMatchObject([
      ['registered', undefined],
      ['corrected', expect.stringContaining('no statusReason')],
      ['retired', 'sent for repair'],
      ['closed', expect.any(String)],
      ['entered-in-error', expect.any(String)],
    ]);
  });

  it.each([
    [
      'without a type of ours',
      { type: { coding: [{ system: UNIT, code: 'pump' }] } },
      'Device.type',
      'collection-unit or monitor',
    ],
    [
      'with a patient',
      { patient: { reference: 'Patient/1' } },
      'Device.patient',
      'send a DeviceUseStatement',
    ],
    ['out of use', { status: 'inactive' }, 'Device.status', 'send active, or leave it out'],
    ['with a status that is none', { status: 'broken' }, 'Device.status', 'active'],
    ['without identifier', { identifier: [] }, 'Device.identifier', 'at least 1'],
    ['with what FHIR does not know', { colour: 'blue' }, 'Device.colour', 'remove it'],
    ['with what may change its meaning', { modifierExtension: [] }, 'Device.modifierExtension', 'remove it'],
  ])('%s is refused, and nothing is registered', async (_, more, element, mend) => {
    const answer = await post<OperationOutcome>(device(more));
    expect([answer.status, wordsOf(answer)]).toEqual([422, [element, expect.stringContaining(mend)]]);
    expect((await get('/v1/devices')).devices).toEqual([]);
  });

  it('is not updated on a version that is not the newest, by two changes at once, or as another device', async () => {
    const { id: name } = await registered();
    const to = (more: object) => ({ ...device(more), id: name }) as never;
    const unit = { coding: [{ system: UNIT, code: 'collection-unit' }] };
    expect((await put(to({ type: unit }), '2')).status).toBe(412);
    expect((await send('PUT', `/Device/${name}`, to({}))).status).toBe(428);
    expect((await put(to({ type: unit, status: 'inactive' }), '1')).status).toBe(422);
    expect((await put(to({ identifier: [id('other')] }), '1')).status).toBe(422);
    expect((await put({ ...device(), id: 'registered.device-x.y' } as never, '1')).status).toBe(405);
    const { body } = await send<Bundle>('GET', `/Device/${name}/_history`);
    expect(body.total).toBe(1);
  });
});

describe('a DeviceUseStatement that is sent', () => {
  beforeEach(registered);

  it('is an assignment as at /v1: what the device charted counts for the drain', async () => {
    await service.send('POST', '/v1/device-entries', byDevice('r1', '09:00', 120));
    const shown = await used('on-1', 1, '08:00');
    expect(problemsOf(shown as never)).toEqual([]);
    expect(shown).toMatchObject({
      ...{ status: 'active', subject: { reference: 'Patient/1' }, source: { reference: 'Practitioner/n1' } },
      timingPeriod: { start: at('08:00') },
    });
    expect(await readingsOf(first)).toEqual(['r1']);
    const [{ device: own, assignments }] = (await get('/v1/devices')).devices;
    expect(assignments).toMatchObject([{ identifier: id('on-1'), drain: first.drain, to: null }]);
    const { entries } = await get(`/v1/devices/${own}/entries`);
    expect(JSON.parse(entries.at(-1).body.received.resource)).toEqual(use('on-1', 1, '08:00'));
    expect((await post(use('on-1', 1, '08:00'))).status).toBe(200);
    expect((await post(use('on-1', 1, '08:30'))).status).toBe(409);
  });

  it('is ended, corrected to another drain, and withdrawn, and readings go where they belong', async () => {
    const { id: name } = await used('on-1', 1, '08:00');
    await service.send('POST', '/v1/device-entries', byDevice('r1', '09:00', 120));
    const to = (...said: Parameters<typeof use>) => ({ ...use(...said), id: name }) as never;
    const end = { status: 'completed', timingPeriod: { start: at('08:00'), end: at('10:00') } };
    expect((await put<Use>(to('on-1', 1, '08:00', end), '1')).body).toMatchObject(end);
    const moved = await put<Use>(to('on-1', 2, '08:00', end), '2');
    expect([moved.status, moved.body]).toMatchObject([200, { subject: { reference: 'Patient/2' } }]);
    expect([await readingsOf(first), await readingsOf(second)]).toEqual([[], ['r1']]);
    const gone = await put<Use>(to('on-1', 2, '08:00', { ...end, status: 'entered-in-error' }), '3');
    expect(gone.body).toMatchObject({ status: 'entered-in-error', meta: { versionId: '4' } });
    expect(await readingsOf(second)).toEqual([]);
    expect((await put(to('on-1', 2, '08:00', end), '3')).status).toBe(409);
  });

  it('is found by patient, device and identifier, by a client of others', async () => {
    const own = await used('on-1', 1, '08:00', {
      status: 'completed',
      timingPeriod: { start: at('08:00'), end: at('09:00') },
    });
    const next = await used('on-2', 2, '09:00');
    const client = new FhirClient({ baseUrl: `${service.url}/fhir` });
    const search = async (searchParams: Record<string, string>) => {
      const bundle = (await client.search({
        resourceType: 'DeviceUseStatement',
        searchParams,
      })) as unknown as Bundle;
      expect(problemsOf(bundle as never)).toEqual([]);
      return (bundle.entry ?? []).map(({ resource }) => resource?.id).sort();
    };
    const both = [own.id, next.id].sort();
    expect(await search({})).toEqual(both);
    expect(await search({ patient: '1' })).toEqual([own.id]);
    expect(await search({ subject: 'Patient/2' })).toEqual([next.id]);
    expect(await search({ device: own.device.reference ?? '' })).toEqual(both);
    expect(await search({ identifier: `${id('on-2').system}|on-2` })).toEqual([next.id]);
    expect(await search({ patient: '3' })).toEqual([]);
    expect((await send('GET', '/DeviceUseStatement?recorded-on=2025')).status).toBe(400);
    const read = await client.read({ resourceType: 'DeviceUseStatement', id: own.id });
    expect(read).toMatchObject({ id: own.id, status: 'completed' });
    const statement = await client.capabilityStatement();
    const claimed = (
      statement as unknown as { rest: { resource: { type: string; interaction: { code: string }[] }[] }[] }
    ).rest[0]?.resource;
    expect(
      claimed?.find(({ type }) => type === 'DeviceUseStatement')?.interaction.map(({ code }) => code),
    ).toEqual(['create', 'update', 'read', 'search-type']);
  });

  it('is of nobody once its drain is taken from the patient that it was linked to by mistake', async () => {
    const third = await placeDrain(service, 'third', '08:00', { patient: undefined });
    await tell(third, entry('link', 'drain-updated', '08:00', { patient: { reference: 'Patient/3' } }));
    const { id: name } = await used('on-3', 3, '08:00', { derivedFrom: [{ identifier: id('third') }] });
    expect((await send<Bundle>('GET', '/DeviceUseStatement?patient=3')).body.total).toBe(1);
    await tell(third, voided('unlink', 'link'));
    expect((await send('GET', `/DeviceUseStatement/${name}`)).status).toBe(404);
    expect((await send<Bundle>('GET', '/DeviceUseStatement?patient=3')).body.total).toBe(0);
  });

  it.each([
    [
      'of another patient',
      { subject: { reference: 'Patient/2' } },
      422,
      'DeviceUseStatement.subject',
      'is linked to',
    ],
    [
      'of no patient',
      { subject: { reference: 'Group/2' } },
      422,
      'DeviceUseStatement.subject.reference',
      'Patient/id',
    ],
    [
      'of a drain that is none',
      { derivedFrom: [{ identifier: id('none') }] },
      422,
      'DeviceUseStatement.derivedFrom[0].identifier',
      'place the drain first',
    ],
    [
      'without a drain',
      { derivedFrom: undefined },
      422,
      'DeviceUseStatement.derivedFrom',
      'a Procedure by the identifier',
    ],
    [
      'of a device that nobody registered',
      { device: { identifier: id('m9') } },
      422,
      'DeviceUseStatement.device',
      'register the device first',
    ],
    [
      'of no device',
      { device: { display: 'the one on the left' } },
      422,
      'DeviceUseStatement.device',
      'send the identifier',
    ],
    [
      'active with an end',
      { timingPeriod: { start: at('08:00'), end: at('09:00') } },
      422,
      'DeviceUseStatement.status',
      'send status completed',
    ],
    ['completed without end', { status: 'completed' }, 422, 'DeviceUseStatement.status', 'send the end'],
    ['to come', { status: 'intended' }, 422, 'DeviceUseStatement.status', 'active'],
    [
      'from a time without offset',
      { timingPeriod: { start: '2025-03-01' } },
      422,
      'DeviceUseStatement.timingPeriod.start',
      'RFC 3339',
    ],
    [
      'at one time',
      { timingDateTime: at('08:00') },
      422,
      'DeviceUseStatement.timingDateTime',
      'send timingPeriod',
    ],
    ['at a site', { bodySite: { text: 'left' } }, 422, 'DeviceUseStatement.bodySite', 'leave it out'],
  ])('%s is refused, and assigns nothing', async (_, more, status, element, mend) => {
    const answer = await post<OperationOutcome>(use('on-1', 1, '08:00', more));
    expect([answer.status, wordsOf(answer)]).toEqual([status, [element, expect.stringContaining(mend)]]);
    expect((await get('/v1/devices')).devices[0].assignments).toEqual([]);
  });

  it('over a time in which the device is elsewhere is refused, and that assignment named', async () => {
    await used('on-1', 1, '08:00');
    const answer = await post<OperationOutcome>(use('on-2', 2, '09:00'));
    expect(answer.status).toBe(409);
    expect(wordsOf(answer)).toEqual([
      'DeviceUseStatement.timingPeriod.start',
      expect.stringContaining('urn:example:ward|on-1 has the device on drain'),
    ]);
    const [{ device: own }] = (await get('/v1/devices')).devices;
    expect((await service.send('POST', `/v1/devices/${own}/entries`, withdrawn('w1', 'on-1'))).status).toBe(
      201,
    );
    expect((await post(use('on-2', 2, '09:00'))).status).toBe(201);
  });
});

it('a batch takes both, and a transaction says that it does not', async () => {
  const entries = [device(), use('on-1', 1, '08:00')].map((resource) => ({
    resource,
    request: { method: 'POST', url: resource.resourceType },
  }));
  const bundle = (type: string, entry: readonly object[]) =>
    send<Bundle>('POST', '', { resourceType: 'Bundle', type, entry });
  const together = await bundle('transaction', entries);
  expect([together.status, (together.body as unknown as OperationOutcome).issue[0]?.diagnostics]).toEqual([
    400,
    expect.stringContaining('devices go in a batch'),
  ]);
  for (const each of entries) {
    const { body } = await bundle('batch', [each]);
    expect(body.entry?.[0]?.response?.status).toBe('201 Created');
  }
});
