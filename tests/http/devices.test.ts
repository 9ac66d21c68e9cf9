/** Devices that chart for whichever drain they are on. Times are of an invented day. */
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import {
  accepted,
  assigned,
  byDevice,
  closed,
  MONITOR,
  reassigned,
  registerMonitor,
  registration,
  type TestDevice,
  twoDrains,
  withdrawn,
} from './device-ward.ts';
import { at, entry, id, level, NURSE, type TestDrain, tell, voided } from './messages.ts';
import { startTestService, type TestService } from './service.ts';

let service: TestService;
let first: TestDrain;
let second: TestDrain;
let monitor: TestDevice;

beforeEach(async () => {
  service = await startTestService();
  [first, second] = await twoDrains(service);
  monitor = await registerMonitor(service);
});
afterEach(() => service.stop());

const get = async (path: string) => JSON.parse((await service.send('GET', path)).text);
/** Keys of the readings that count for a drain, in order. */
async function readingsOf({ drain }: TestDrain): Promise<readonly string[]> {
  const { rows } = await get(`/v1/drains/${drain}/chart`);
  return rows
    .filter((row: { kind: string }) => row.kind === 'reading')
    .map((row: { identifier: { value: string } }) => row.identifier.value);
}
const refusalIn = ({ text }: { text: string }) => {
  const { type, errors } = JSON.parse(text);
  return { type: type.replace('urn:drainledger:problem:', ''), ...errors[0] };
};

describe('a registered device', () => {
  it('is listed with where it was and where it is, and its drain shows it', async () => {
    await accepted(
      monitor.assign(assigned('a1', first.drain, '08:00', '10:00')),
      monitor.assign(assigned('a2', second.drain, '10:00')),
    );
    const { devices } = await get('/v1/devices');
    expect(devices).toEqual([await get(`/v1/devices/${monitor.device}`)]);
    expect(devices[0]).toMatchObject({
      identifier: MONITOR,
      type: 'monitor',
      drain: second.drain,
      assignments: [
        { identifier: id('a1'), drain: first.drain, from: at('08:00'), to: at('10:00') },
        { identifier: id('a2'), drain: second.drain, from: at('10:00'), to: null },
      ],
    });
    const on = { device: monitor.device, identifier: MONITOR, type: 'monitor' };
    const stateOf = async ({ drain }: TestDrain, query = '') =>
      (await get(`/v1/drains/${drain}/state${query}`)).devices;
    expect(await stateOf(first)).toEqual([]);
    expect(await stateOf(second)).toEqual([{ ...on, since: at('10:00') }]);
    expect(await stateOf(first, `?as_of=${at('09:59')}`)).toEqual([{ ...on, since: at('08:00') }]);
    expect(await stateOf(first, `?as_of=${at('10:00')}`)).toEqual([]);
  });

  it('is registered once, and everything charted of it is kept as it was written', async () => {
    expect((await service.send('POST', '/v1/devices', registration('registered'))).status).toBe(200);
    const again = await service.send('POST', '/v1/devices', registration('again'));
    expect(again.status).toBe(409);
    expect(refusalIn(again)).toMatchObject({ type: 'already-registered', pointer: '/device' });
    await accepted(monitor.assign(assigned('a1', first.drain, '08:00')));
    await accepted(monitor.assign(closed('c1', 'a1', '09:00')));
    const { entries } = await get(`/v1/devices/${monitor.device}/entries`);
    expect(entries.map(({ sequence, body }: { sequence: number; body: object }) => [sequence, body])).toEqual(
      [
        [1, { kind: 'registered', ...registration('registered') }],
        [2, assigned('a1', first.drain, '08:00')],
        [3, closed('c1', 'a1', '09:00')],
      ],
    );
  });
});

describe('what names only the device', () => {
  it('counts for the drain that it was on, and is answered with what follows from it there', async () => {
    await accepted(monitor.assign(assigned('a1', first.drain, '08:00')));
    const { status, text } = await monitor.post(byDevice('r1', '09:00', 120));
    expect(status).toBe(201);
    expect(JSON.parse(text)).toMatchObject({
      drain: first.drain,
      device: monitor.device,
      sequence: 3,
      derived: { interval: { net_ml: 120, rate_ml_h: 120 } },
    });
  });

  // Common practice, no source: a day is moved from one patient to the next at one charted minute.
  it.each([
    ['a millisecond before the move', '2025-03-01T09:59:59.999Z', 'first'],
    ['at the instant of the move', '10:00', 'second'],
    ['at that instant by a clock of another zone', '2025-03-01T12:00:00+02:00', 'second'],
    ['at the instant of the end', '11:00', 'neither'],
    ['before the first assignment', '07:59', 'neither'],
  ])('%s', async (_, time, where) => {
    await accepted(
      monitor.assign(assigned('a1', first.drain, '08:00', '10:00')),
      monitor.assign(assigned('a2', second.drain, '10:00', '11:00')),
    );
    const { status } = await monitor.post(byDevice('r1', time, 50));
    expect(status).toBe(where === 'neither' ? 202 : 201);
    expect(await readingsOf(first)).toEqual(where === 'first' ? ['r1'] : []);
    expect(await readingsOf(second)).toEqual(where === 'second' ? ['r1'] : []);
  });

  it('is kept while the device is on none, listed and counted, and counts once an assignment covers it', async () => {
    const early = await monitor.post(byDevice('r1', '09:00', 120));
    expect(early.status).toBe(202);
    expect(JSON.parse(early.text)).toMatchObject({ drain: null, device: monitor.device, sequence: 1 });
    expect((await monitor.post(byDevice('r2', '10:30', 300))).status).toBe(202);
    const listed = await get('/v1/unmatched');
    expect(listed).toMatchObject({
      count: 2,
      unmatched: [
        { device: monitor.device, registered: true, body: byDevice('r1', '09:00', 120) },
        { body: { identifier: id('r2') } },
      ],
    });
    expect((await service.send('GET', '/metrics')).text).toMatch(/^drainledger_unmatched_entries 2$/m);
    await tell(first, level('later', '10:00', 200));
    const answer = await monitor.assign(assigned('a1', first.drain, '08:30', '10:00'));
    expect(JSON.parse(answer.text).moved).toEqual([{ drain: first.drain, entered: 1, left: 0 }]);
    // Late, so what rests on the interval that it cuts is issued again.
    expect(await first.row('r1')).toMatchObject({ interval: { net_ml: 120 } });
    expect(await first.row('later')).toMatchObject({ interval: { net_ml: 80 } });
    expect((await get('/v1/unmatched')).unmatched.map(({ body }: never) => body)).toEqual([
      byDevice('r2', '10:30', 300),
    ]);
    // A sender that lost its answer is told the first one.
    const again = await monitor.post(byDevice('r1', '09:00', 120));
    expect([again.status, again.text]).toEqual([200, early.text]);
    expect((await monitor.post(byDevice('r1', '09:00', 121))).status).toBe(409);
  });

  it('is never later than when it was received: a clock that runs ahead carries nothing past a move', async () => {
    const now = Date.now();
    const ahead = new Date(now + 3 * 60_000).toISOString();
    await accepted(monitor.assign(assigned('a1', first.drain, '08:00')));
    await accepted(monitor.post(byDevice('r1', ahead, 50)));
    const move = new Date(now + 60_000).toISOString();
    await accepted(
      monitor.assign(closed('c1', 'a1', move)),
      monitor.assign(assigned('a2', second.drain, move)),
    );
    expect(await readingsOf(first)).toEqual(['r1']);
    expect(await readingsOf(second)).toEqual([]);
  });

  it('by a clock far ahead is in question where the device was, until somebody corrects its time', async () => {
    await accepted(monitor.assign(assigned('a1', first.drain, '08:00')));
    await accepted(monitor.post(byDevice('r1', '2999-01-01T00:00:00Z', 50)));
    expect(await first.row('r1')).toMatchObject({ marks: ['time-in-question'], counted: false });
    const fixed = {
      ...entry('fix', 'corrected', '12:00', { target: id('r1'), reason: 'its clock was not set' }),
      device: MONITOR,
      replacement: { kind: 'reading', level_ml: 50, effective_at: at('09:00') },
    };
    await accepted(monitor.post(fixed));
    expect(await first.row('r1')).toMatchObject({ marks: [], interval: { net_ml: 50 } });
  });

  it('by a clock that was lost is unmatched, and its corrected time takes it to its drain', async () => {
    await accepted(monitor.assign(assigned('a1', first.drain, '08:00')));
    expect((await monitor.post(byDevice('r1', '1970-01-01T00:00:12Z', 50))).status).toBe(202);
    const fixed = (key: string, target: string, time: string) => ({
      ...entry(key, 'corrected', '12:00', { target: id(target), reason: 'its clock was not set' }),
      device: MONITOR,
      replacement: { kind: 'reading', level_ml: 50, effective_at: at(time) },
    });
    expect((await monitor.post(fixed('fix-1', 'r1', '07:00'))).status).toBe(202);
    const { status, text } = await monitor.post(fixed('fix-2', 'fix-1', '09:00'));
    expect([status, JSON.parse(text).drain]).toEqual([201, first.drain]);
    expect(await first.row('r1')).toMatchObject({ interval: { net_ml: 50 } });
    expect((await get('/v1/unmatched')).count).toBe(0);
  });

  it('can be taken back while it is unmatched, and then waits for nothing', async () => {
    await monitor.post(byDevice('r1', '09:00', 120));
    await accepted(monitor.post({ ...voided('v1', 'r1'), device: MONITOR }));
    expect((await get('/v1/unmatched')).count).toBe(0);
    const answer = await monitor.assign(assigned('a1', first.drain, '08:00'));
    expect(JSON.parse(answer.text).moved).toEqual([]);
    expect(await readingsOf(first)).toEqual([]);
  });

  it('comes in batches and as lines too, and a dry run says what it would be answered', async () => {
    await accepted(monitor.assign(assigned('a1', first.drain, '08:00', '10:00')));
    const batch = await service.send('POST', '/v1/entries', {
      entries: [byDevice('r1', '09:00', 10), byDevice('r2', '10:00', 20)],
    });
    expect(JSON.parse(batch.text).outcomes.map(({ status }: { status: number }) => status)).toEqual([
      201, 202,
    ]);
    const lines = [byDevice('r3', '09:30', 15), byDevice('r4', '10:30', 25)].map((line) =>
      JSON.stringify(line),
    );
    const answer = await service.send('POST', '/v1/entries/lines', lines.join('\n'), {
      'content-type': 'application/x-ndjson',
    });
    const told = answer.text
      .trim()
      .split('\n')
      .map((line) => JSON.parse(line));
    expect(told.slice(0, 2)).toEqual([
      { line: 1, status: 201 },
      { line: 2, status: 202 },
    ]);
    expect(await readingsOf(first)).toEqual(['r1', 'r3']);
    const dry = await service.send('POST', '/v1/device-entries?dry-run=true', byDevice('r5', '10:45', 30));
    expect([dry.status, JSON.parse(dry.text).receipt.drain]).toEqual([200, null]);
    expect((await get('/v1/unmatched')).count).toBe(2);
  });

  it('and the drain beside it is taken only where the device was on that drain', async () => {
    await accepted(monitor.assign(assigned('a1', first.drain, '08:00')));
    await accepted(first.enter(byDevice('r1', '09:00', 10)) as ReturnType<TestService['send']>);
    const wrong = await second.enter(byDevice('r2', '09:30', 20));
    expect(wrong.status).toBe(422);
    expect(refusalIn(wrong)).toMatchObject({ type: 'device-elsewhere', pointer: '/device' });
    expect(wrong.text).toContain(first.drain);
    const on = { drain: second.drain, ...byDevice('r2', '09:30', 20) };
    const { outcomes } = JSON.parse((await service.send('POST', '/v1/entries', { entries: [on] })).text);
    expect(outcomes[0].status).toBe(422);
    expect(await readingsOf(first)).toEqual(['r1']);
    expect(await readingsOf(second)).toEqual([]);
  });

  it.each([
    ['a weight', entry('w', 'weighed', '09:00', { weight_kg: 70 })],
    ['a removal', entry('x', 'removed', '09:00')],
    ['whose the drain is', entry('u', 'drain-updated', '09:00', { patient: { reference: 'Patient/3' } })],
  ])('may not be %s: that is of a drain or patient, wherever a device is', async (_, message) => {
    await accepted(monitor.assign(assigned('a1', first.drain, '08:00')));
    const answer = await monitor.post({ ...message, device: MONITOR });
    expect(answer.status).toBe(422);
    expect(refusalIn(answer)).toMatchObject({ pointer: '/device', mend: 'remove it' });
  });

  it('has to name it', async () => {
    const { device: _device, ...without } = byDevice('r1', '09:00', 10);
    const answer = await monitor.post(without);
    expect([answer.status, refusalIn(answer).pointer]).toEqual([422, '/device']);
  });
});

describe('an assignment', () => {
  it('over a time in which the device is on another drain is refused, and that one named', async () => {
    await accepted(monitor.assign(assigned('a1', first.drain, '08:00', '10:00')));
    for (const [from, to] of [
      ['09:59', null],
      ['07:00', '08:01'],
      ['08:30', '09:00'],
      ['07:00', '11:00'],
    ] as const) {
      const answer = await monitor.assign(assigned('a2', second.drain, from, to));
      expect(answer.status).toBe(409);
      expect(refusalIn(answer)).toMatchObject({ type: 'overlaps', pointer: '/from', value: `"${at(from)}"` });
      expect(answer.text).toContain('urn:example:ward|a1');
      expect(answer.text).toContain(first.drain);
    }
    await accepted(monitor.assign(assigned('a2', second.drain, '10:00')));
    await accepted(monitor.assign(assigned('a3', second.drain, '07:00', '08:00')));
  });

  const cases: readonly (readonly [string, (drain: string) => object, number, string, string])[] = [
    ['of no drain', () => assigned('n', 'nodrain', '09:00'), 404, 'no-such-drain', '/drain'],
    [
      'that ends before it starts',
      (d) => assigned('n', d, '12:00', '11:00'),
      422,
      'ends-before-it-starts',
      '/to',
    ],
    [
      'that ends when it starts',
      (d) => assigned('n', d, '12:00', '12:00'),
      422,
      'ends-before-it-starts',
      '/to',
    ],
    ['from a time to come', (d) => assigned('n', d, '2999-01-01T00:00:00Z'), 422, 'in-the-future', '/from'],
    ['closed that is not there', () => closed('n', 'x', '09:00'), 422, 'unknown-target', '/target'],
    ['closed twice', () => closed('n', 'a1', '09:30'), 409, 'already-closed', '/target'],
    [
      'corrected in an older form',
      (d) => reassigned('n', 'a1', d, '08:00'),
      409,
      'not-the-chain-end',
      '/target',
    ],
    [
      'corrected to a drain that is none',
      () => reassigned('n', 'c1', 'nodrain', '08:00'),
      404,
      'no-such-drain',
      '/replacement/drain',
    ],
    [
      'without a reason',
      (d) => ({ ...assigned('n', d, '12:00'), reason: undefined }),
      422,
      'invalid-message',
      '/reason',
    ],
  ];
  it.each(cases)('%s is refused', async (_, message, status, type, pointer) => {
    await accepted(
      monitor.assign(assigned('a1', first.drain, '08:00')),
      monitor.assign(closed('c1', 'a1', '10:00')),
    );
    const answer = await monitor.assign(message(first.drain));
    expect([answer.status, refusalIn(answer)]).toMatchObject([status, { type, pointer }]);
    const { assignments } = await get(`/v1/devices/${monitor.device}`);
    expect(assignments).toHaveLength(1);
  });

  it('of a device that nobody registered is refused, though what it charted is kept', async () => {
    const stray = { ...byDevice('r1', '09:00', 10), device: id('stray') };
    const kept = await monitor.post(stray);
    expect(kept.status).toBe(202);
    const { device } = JSON.parse(kept.text);
    expect((await get('/v1/unmatched')).unmatched).toMatchObject([{ device, registered: false }]);
    const path = `/v1/devices/${device}`;
    expect((await service.send('GET', path)).status).toBe(404);
    const refused = await service.send('POST', `${path}/assignments`, assigned('a1', first.drain, '08:00'));
    expect([refused.status, refusalIn(refused).type]).toEqual([404, 'no-such-device']);
    await accepted(service.send('POST', '/v1/devices', registration('s', id('stray'))));
    await accepted(service.send('POST', `${path}/assignments`, assigned('a1', first.drain, '08:00')));
    expect(await readingsOf(first)).toEqual(['r1']);
  });

  it('that is withdrawn leaves what it covered unmatched, and is final', async () => {
    await accepted(monitor.assign(assigned('a1', first.drain, '08:00')));
    await accepted(monitor.post(byDevice('r1', '09:00', 10)));
    const answer = await monitor.assign(withdrawn('w1', 'a1'));
    expect(JSON.parse(answer.text).moved).toEqual([{ drain: first.drain, entered: 0, left: 1 }]);
    expect(await readingsOf(first)).toEqual([]);
    expect((await get('/v1/unmatched')).count).toBe(1);
    const again = await monitor.assign(withdrawn('w2', 'w1'));
    expect([again.status, refusalIn(again).type]).toEqual([409, 'already-void']);
  });

  it('that is corrected takes readings, with their corrections, to the other drain and its record', async () => {
    await accepted(monitor.assign(assigned('a1', first.drain, '08:00')));
    await accepted(monitor.post(byDevice('r1', '09:00', 120)), monitor.post(byDevice('r2', '10:00', 200)));
    const misread = { kind: 'reading', level_ml: 150, effective_at: at('09:00') };
    const fix = entry('fix', 'corrected', '11:00', {
      target: id('r1'),
      reason: 'misread',
      replacement: misread,
    });
    await tell(first, fix);
    await accepted(monitor.assign(reassigned('m1', 'a1', second.drain, '08:00')));
    expect(await readingsOf(first)).toEqual([]);
    expect(await second.row('r1')).toMatchObject({ interval: { net_ml: 150 } });
    expect(await second.row('r2')).toMatchObject({ interval: { net_ml: 50 } });
    // What is charted of it from now on is charted on the drain that it counts for.
    const late = await first.enter(voided('v1', 'fix'));
    expect([late.status, refusalIn(late).type]).toEqual([422, 'unknown-target']);
    await tell(second, voided('v1', 'fix'));
    expect(await second.row('r2')).toMatchObject({ interval: { net_ml: 200 } });

    const versions = async (drain: string, key: string) => {
      const entryId = JSON.parse(
        (await monitor.post(byDevice(key, key === 'r1' ? '09:00' : '10:00', key === 'r1' ? 120 : 200))).text,
      ).entry;
      const history = await get(`/fhir/Observation/level.${drain}.${entryId}/_history`);
      return history.entry.map(
        ({ resource }: { resource: { status: string; subject: { reference: string } } }) => [
          resource.status,
          resource.subject.reference,
        ],
      );
    };
    expect(await versions(first.drain, 'r2')).toEqual([
      ['entered-in-error', 'Patient/1'],
      ['final', 'Patient/1'],
    ]);
    expect(await versions(second.drain, 'r2')).toEqual([['final', 'Patient/2']]);
    expect(await versions(second.drain, 'r1')).toEqual([
      ['entered-in-error', 'Patient/2'],
      ['final', 'Patient/2'],
    ]);
    const { entry: hands } = await get(`/fhir/Provenance?patient=1&agent=Practitioner/n1`);
    expect(
      hands.find(({ resource }: { resource: { reason?: object } }) => resource.reason !== undefined).resource,
    ).toMatchObject({
      activity: { coding: [{ code: 'UPDATE' }] },
      reason: [{ text: 'it was on the other patient' }],
      entity: [
        { role: 'source', what: { identifier: id('m1') } },
        { role: 'revision', what: { identifier: id('a1') } },
      ],
    });
  });

  it('changes the entity tags of both drains: neither is answered as it was before', async () => {
    const ask = (drain: string, tag: string) =>
      fetch(`${service.url}/v1/drains/${drain}/trends`, { headers: { 'if-none-match': tag } });
    const drains = [first.drain, second.drain];
    await accepted(
      monitor.assign(assigned('a1', first.drain, '08:00')),
      monitor.post(byDevice('r1', '09:00', 90)),
    );
    const tags = await Promise.all(
      drains.map(async (drain) => (await ask(drain, '')).headers.get('etag') ?? ''),
    );
    const statuses = () =>
      Promise.all(drains.map(async (drain, n) => (await ask(drain, tags[n] ?? '')).status));
    expect(await statuses()).toEqual([304, 304]);
    await accepted(monitor.assign(reassigned('a2', 'a1', second.drain, '08:00')));
    expect(await statuses()).toEqual([200, 200]);
    expect(await readingsOf(second)).toEqual(['r1']);
  });

  it('is told in the streams of the drains that it moved entries between', async () => {
    await accepted(monitor.assign(assigned('a1', first.drain, '08:00')));
    await accepted(monitor.post(byDevice('r1', '09:00', 120)));
    await accepted(monitor.assign(reassigned('m1', 'a1', second.drain, '08:00')));
    const lastOf = async ({ drain }: TestDrain) => (await get(`/v1/drains/${drain}/entries`)).entries.at(-1);
    const said = { kind: 'rerouted', device: MONITOR, because: id('m1'), author: NURSE };
    expect(await lastOf(first)).toMatchObject({
      sequence: 4,
      body: { ...said, left: [id('r1')], entered: [] },
    });
    expect(await lastOf(second)).toMatchObject({
      sequence: 3,
      body: { ...said, left: [], entered: [id('r1')] },
    });
    expect((await get(`/v1/drains/${first.drain}`)).entries).toBe(4);
    await tell(first, level('own', '12:00', 10));
    expect((await get(`/v1/drains/${first.drain}`)).entries).toBe(5);
  });
});

it('a correction may not carry a reading to another drain', async () => {
  await accepted(
    monitor.assign(assigned('a1', first.drain, '08:00', '10:00')),
    monitor.assign(assigned('a2', second.drain, '10:00')),
  );
  await accepted(monitor.post(byDevice('r1', '09:00', 120)));
  const replacement = { kind: 'reading', level_ml: 120, effective_at: at('10:30') };
  const answer = await first.enter(
    entry('fix', 'corrected', '11:00', { target: id('r1'), reason: 'wrong hour', replacement }),
  );
  expect(answer.status).toBe(422);
  expect(refusalIn(answer)).toMatchObject({ type: 'device-elsewhere', pointer: '/replacement/effective_at' });
  expect(answer.text).toContain('mark the entry entered-in-error and post it anew');
});
