/** A device is registered wrongly, taken out of use, and sends by a clock that is behind. Times are of an invented day. */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import {
  accepted,
  assigned,
  byDevice,
  closed,
  corrected,
  MONITOR,
  registerMonitor,
  registration,
  retired,
  type TestDevice,
  twoDrains,
  withdrawn,
} from './device-ward.ts';
import { at, id, level, NURSE, type TestDrain } from './messages.ts';
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
const view = () => get(`/v1/devices/${monitor.device}`);
const unmatched = () => get('/v1/unmatched');
async function refused(answer: ReturnType<TestService['send']>) {
  const { status, text } = await answer;
  const { type, errors } = JSON.parse(text);
  return { status, type: type.replace('urn:drainledger:problem:', ''), ...errors[0] };
}
const readingsOf = async ({ drain }: TestDrain) =>
  (await get(`/v1/drains/${drain}/chart`)).rows
    .filter(({ kind }: { kind: string }) => kind === 'reading')
    .map(({ identifier }: { identifier: { value: string } }) => identifier.value);

describe('a device that is out of use', () => {
  it('is shown so with who said it and why, and goes on no drain meanwhile', async () => {
    await accepted(monitor.assign(assigned('a1', first.drain, '08:00', '10:00')));
    await accepted(monitor.chart(retired('out', '10:00')));
    expect(await view()).toMatchObject({
      status: 'inactive',
      drain: null,
      assignments: [{ identifier: id('a1') }],
      retirements: [{ identifier: id('out'), newest: id('out'), from: at('10:00'), to: null }],
    });
    const { entries } = await get(`/v1/devices/${monitor.device}/entries`);
    expect(entries.at(-1).body).toEqual(retired('out', '10:00'));
    const answer = await refused(monitor.assign(assigned('a2', second.drain, '11:00')));
    expect(answer).toMatchObject({ status: 409, type: 'overlaps', pointer: '/from' });
    expect(answer.mend).toBe(
      `urn:example:ward|out has the device out of use from ${at('10:00')} and is open: close or correct that one first, newest form urn:example:ward|out`,
    );
    // Back in use.
    await accepted(monitor.chart(closed('back', 'out', '12:00')));
    await accepted(monitor.assign(assigned('a2', second.drain, '12:00')));
    expect(await view()).toMatchObject({ status: 'active', drain: second.drain });
  });

  it('loses nothing of what it sends: it is kept, listed, and counts once the retirement turns out wrong', async () => {
    await accepted(monitor.chart(retired('out', '08:00')));
    expect((await monitor.post(byDevice('r1', '09:00', 120))).status).toBe(202);
    expect(await unmatched()).toMatchObject({
      count: 1,
      unmatched: [{ device: monitor.device, registered: true, because: 'on-no-drain' }],
    });
    await accepted(monitor.chart(corrected('later', 'out', { from: at('10:00') })));
    await accepted(monitor.assign(assigned('a1', first.drain, '08:00', '10:00')));
    expect(await readingsOf(first)).toEqual(['r1']);
    await accepted(monitor.chart(withdrawn('never', 'later')));
    expect(await view()).toMatchObject({ status: 'active', retirements: [{ entered_in_error: true }] });
  });

  it('cannot be while it is said to be on a drain, whose assignment is named', async () => {
    await accepted(monitor.assign(assigned('a1', first.drain, '08:00')));
    const answer = await refused(monitor.chart(retired('out', '09:00')));
    expect(answer).toMatchObject({ status: 409, type: 'overlaps', pointer: '/from' });
    expect(answer.mend).toContain(`urn:example:ward|a1 has the device on drain ${first.drain}`);
    await accepted(monitor.chart(closed('c1', 'a1', '09:00')));
    await accepted(monitor.chart(retired('out', '09:00')));
  });
});

describe('a registration', () => {
  it('is corrected by another type, with author and reason, and both stay in the ledger', async () => {
    await accepted(monitor.chart(corrected('fix', 'registered', { type: 'collection-unit' })));
    expect(await view()).toMatchObject({
      type: 'collection-unit',
      registration: { identifier: id('registered'), newest: id('fix') },
    });
    const { entries } = await get(`/v1/devices/${monitor.device}/entries`);
    expect(entries.map(({ body }: { body: { kind: string } }) => body.kind)).toEqual([
      'registered',
      'corrected',
    ]);
    const stale = await refused(monitor.chart(corrected('fix-2', 'registered', { type: 'monitor' })));
    expect(stale).toMatchObject({ status: 409, type: 'not-the-chain-end', pointer: '/target' });
    await accepted(monitor.assign(assigned('a1', first.drain, '08:00')));
    const { devices } = await get(`/v1/drains/${first.drain}/state`);
    expect(devices).toMatchObject([{ type: 'collection-unit' }]);
  });

  it('of what was no device of the ward is withdrawn: what it sent stays listed, and it can be registered anew', async () => {
    expect((await monitor.post(byDevice('r1', '09:00', 120))).status).toBe(202);
    await accepted(monitor.chart(withdrawn('never', 'registered')));
    expect(await view()).toMatchObject({ status: 'entered-in-error', drain: null });
    expect((await unmatched()).unmatched).toMatchObject([{ registered: false, because: 'not-registered' }]);
    const answer = await refused(monitor.assign(assigned('a1', first.drain, '08:00')));
    expect(answer).toMatchObject({ status: 404, type: 'no-such-device' });
    expect((await monitor.post(byDevice('r2', '09:30', 130))).status).toBe(202);
    await accepted(service.send('POST', '/v1/devices', registration('registered-2')));
    await accepted(monitor.assign(assigned('a1', first.drain, '08:00')));
    expect(await readingsOf(first)).toEqual(['r1', 'r2']);
    expect(await view()).toMatchObject({
      status: 'active',
      registration: { identifier: id('registered-2') },
    });
  });

  it('cannot be withdrawn while an assignment stands, which is named', async () => {
    await accepted(monitor.assign(assigned('a1', first.drain, '08:00', '09:00')));
    const answer = await refused(monitor.chart(withdrawn('never', 'registered')));
    expect(answer).toMatchObject({ status: 409, type: 'still-in-use', pointer: '/target' });
    expect(answer.mend).toContain('mark urn:example:ward|a1 entered-in-error first, or retire the device');
    await accepted(monitor.chart(withdrawn('w1', 'a1')));
    await accepted(monitor.chart(withdrawn('never', 'registered')));
    const again = await refused(monitor.chart(corrected('fix', 'registered', { type: 'monitor' })));
    expect(again).toMatchObject({ status: 409, type: 'already-void' });
  });

  it.each([
    ['a registration by a time', 'registered', { from: at('09:00') }, '/replacement'],
    ['a registration by a drain', 'registered', { drain: 'd', from: at('09:00') }, '/replacement/drain'],
    ['an assignment by a type', 'a1', { type: 'monitor' }, '/replacement'],
    ['an assignment by a time without drain', 'a1', { from: at('09:00') }, '/replacement'],
    ['a retirement by a type', 'out', { type: 'monitor' }, '/replacement'],
    ['anything by a type and a time', 'a1', { type: 'monitor', from: at('09:00') }, '/replacement'],
    ['a registration by a type that is none', 'registered', { type: 'pump' }, '/replacement'],
  ])('%s is not corrected', async (_, target, replacement, pointer) => {
    await accepted(monitor.assign(assigned('a1', first.drain, '08:00', '10:00')));
    await accepted(monitor.chart(retired('out', '10:00')));
    const before = await view();
    const answer = await refused(monitor.chart(corrected('fix', target, replacement)));
    expect([answer.status === 422 || answer.status === 404, answer.pointer]).toEqual([true, pointer]);
    expect(await view()).toEqual(before);
  });
});

it('all that became of a device is the same after a restart', async () => {
  const folder = mkdtempSync(join(tmpdir(), 'device-life-'));
  const settings = { DRAINLEDGER_DATABASE: join(folder, 'ledger.db') };
  try {
    await service.stop();
    service = await startTestService(settings);
    monitor = await registerMonitor(service);
    await accepted(monitor.chart(retired('out', '08:00', '09:00')), monitor.chart(retired('again', '10:00')));
    await accepted(monitor.chart(corrected('fix', 'registered', { type: 'collection-unit' })));
    await accepted(monitor.chart(corrected('c1', 'again', { from: at('11:00') })));
    await accepted(monitor.chart(withdrawn('w1', 'out')));
    const before = await view();
    await service.stop();
    service = await startTestService(settings);
    expect(await view()).toEqual(before);
    expect(before).toMatchObject({ status: 'inactive', type: 'collection-unit', retirements: [{}, {}] });
  } finally {
    rmSync(folder, { recursive: true });
  }
});

describe('what was charted before a move and received after it, by a clock that nobody has looked at', () => {
  const now = Date.now();
  /** So many minutes before now. */
  const ago = (minutes: number): string => new Date(now - minutes * 60_000).toISOString();
  beforeEach(async () => {
    await accepted(
      monitor.assign(assigned('a1', first.drain, ago(600), ago(20))),
      monitor.assign(assigned('a2', second.drain, ago(20))),
    );
  });

  it('counts for neither patient until a person says so: it is kept, and listed with why', async () => {
    const { status, text } = await monitor.post(byDevice('r1', ago(25), 120));
    expect([status, JSON.parse(text).drain]).toEqual([202, null]);
    expect(await unmatched()).toMatchObject({
      count: 1,
      unmatched: [{ registered: true, because: 'clock-in-question', body: { identifier: id('r1') } }],
    });
    const fix = {
      ...{ identifier: id('seen'), author: NURSE, effective_at: ago(0), kind: 'corrected' },
      ...{ target: id('r1'), reason: 'the clock of the monitor is right', device: MONITOR },
      replacement: { kind: 'reading', level_ml: 120, effective_at: ago(25) },
    };
    const answer = await monitor.post(fix);
    expect([answer.status, JSON.parse(answer.text).drain]).toEqual([201, first.drain]);
    expect(await readingsOf(first)).toEqual(['r1']);
    expect((await unmatched()).count).toBe(0);
  });

  it('goes where its clock tells once somebody has looked at that, all of it at once', async () => {
    await monitor.post(byDevice('r1', ago(25), 120));
    await monitor.post(byDevice('r2', ago(22), 130));
    const seen = { drain: first.drain, from: ago(600), to: ago(20), clock_checked: true };
    const answer = await monitor.chart(corrected('seen', 'a1', seen));
    expect(JSON.parse(answer.text).moved).toEqual([{ drain: first.drain, entered: 2, left: 0 }]);
    expect(await readingsOf(first)).toEqual(['r1', 'r2']);
    expect((await view()).assignments).toMatchObject([{ clock_checked: true }, { clock_checked: false }]);
  });

  it('leaves the drain again where the move is charted late', async () => {
    await accepted(monitor.chart(withdrawn('w2', 'a2')));
    await accepted(monitor.chart(corrected('c1', 'a1', { drain: first.drain, from: ago(600) })));
    await accepted(monitor.post(byDevice('r1', ago(25), 120)));
    expect(await readingsOf(first)).toEqual(['r1']);
    const answer = await monitor.chart(closed('c2', 'c1', ago(20)));
    expect(JSON.parse(answer.text).moved).toEqual([{ drain: first.drain, entered: 0, left: 1 }]);
    expect((await unmatched()).unmatched).toMatchObject([{ because: 'clock-in-question' }]);
  });

  it('leaves the drain again where what was charted of the time after it turns out wrong', async () => {
    await accepted(
      monitor.chart(withdrawn('w2', 'a2')),
      monitor.assign(assigned('a3', first.drain, ago(20))),
    );
    await accepted(monitor.post(byDevice('r1', ago(25), 120)));
    const answer = await monitor.chart(corrected('c3', 'a3', { drain: second.drain, from: ago(20) }));
    expect(JSON.parse(answer.text).moved).toEqual([{ drain: first.drain, entered: 0, left: 1 }]);
    expect((await unmatched()).count).toBe(1);
  });

  it('is believed where a person charts it, and where it was sent later than any clock is behind', async () => {
    await accepted(monitor.post({ ...level('by hand', ago(25), 120), device: MONITOR }));
    await accepted(monitor.post(byDevice('kept', ago(120), 90)));
    expect(await readingsOf(first)).toEqual(['kept', 'by hand']);
  });
});
