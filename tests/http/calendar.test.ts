/** Clock hours, shifts and fluid-balance days over the API, in a zone with summer time. */
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { readConfig } from '../../src/config.ts';
import { ConfigError } from '../../src/configuration/ledger.ts';
import { entry, level, placeDrain, setUp, type TestDrain, tell, voided } from './messages.ts';
import { startTestService, type TestService } from './service.ts';

let service: TestService;
beforeAll(async () => {
  service = await startTestService({
    DRAINLEDGER_ZONE: 'Europe/Berlin',
    DRAINLEDGER_SHIFTS: '07:00,09:00,19:00',
  });
});
afterAll(() => service.stop());

const get = async (path: string) => {
  const { status, text } = await service.send('GET', path);
  return { status, body: JSON.parse(text) };
};
const windows = async ({ drain }: TestDrain, query: string) =>
  (await get(`/v1/drains/${drain}/windows?${query}`)).body.windows;

/** A drain that gives 10 mL in every hour of elapsed time, read every hour from a moment on, for so many hours. */
async function steady(name: string, start: string, hours: number): Promise<TestDrain> {
  const at = (hour: number) => new Date(Date.parse(start) + hour * 3_600_000).toISOString();
  const drain = await placeDrain(service, name, at(0));
  const readings = Array.from({ length: hours }, (_, i) => ({
    drain: drain.drain,
    ...level(`${name}-${i}`, at(i + 1), 10 * (i + 1)),
  }));
  await tell(drain, setUp(`${name}-up`, at(0), 0));
  await service.send('POST', '/v1/entries', { entries: readings });
  return drain;
}

describe('a fluid-balance day from 07:00 in Berlin, 10 mL/h steadily (moments: IANA time zone database)', () => {
  test.each([
    ['spring', '2025-03-29T06:00:00Z', '2025-03-30T05:00:00Z', 230, 23],
    ['autumn', '2025-10-25T05:00:00Z', '2025-10-26T06:00:00Z', 250, 25],
  ])('in %s', async (name, from, to, net_ml, elapsed_h) => {
    const drain = await steady(name, from, elapsed_h);
    const [day, ...others] = await windows(drain, `kind=day&from=${from}&to=${to}`);
    expect(others).toEqual([]);
    const whole = { coverage: 1, at_least: false, preliminary: false, interpolated: false, uncovered: [] };
    expect(day).toMatchObject({ from, to, net_ml, elapsed_h, rate_ml_h: 10, ...whole });
    const hours = await windows(drain, `kind=hour&from=${from}&to=${to}`);
    expect(hours).toHaveLength(elapsed_h);
    expect(hours.every((hour: { net_ml: number }) => hour.net_ml === 10)).toBe(true);
    const shifts = await windows(drain, `kind=shift&from=${from}&to=${to}`);
    expect(shifts.map((shift: { net_ml: number }) => shift.net_ml)).toEqual([20, 100, net_ml - 120]);
  });

  test('two hours begin at 02:00 in autumn, none in spring', async () => {
    const local = async (name: string, from: string) => {
      const drain = await placeDrain(service, `local-${name}`, from);
      const to = new Date(Date.parse(from) + 3 * 3_600_000).toISOString();
      return (await windows(drain, `from=${from}&to=${to}`)).map((hour: { local_from: string }) =>
        hour.local_from.slice(11),
      );
    };
    expect(await local('autumn', '2025-10-25T23:00:00Z')).toEqual([
      ...['01:00:00+02:00', '02:00:00+02:00', '02:00:00+01:00'],
    ]);
    expect(await local('spring', '2025-03-30T00:00:00Z')).toEqual([
      ...['01:00:00+01:00', '03:00:00+02:00', '04:00:00+02:00'],
    ]);
  });
});

test('a day boundary between two readings parts what drained between them', async () => {
  // 06:40 1200 mL, 07:20 1280 mL: 40 mL to each (common practice, no source).
  const drain = await placeDrain(service, 'parted', '2025-03-01T06:40:00+01:00');
  await tell(
    drain,
    setUp('parted-up', '2025-03-01T06:40:00+01:00', 1200),
    level('parted-1', '2025-03-01T07:20:00+01:00', 1280),
  );
  const days = await windows(drain, 'kind=day&from=2025-03-01T05:40:00Z');
  expect(days).toHaveLength(2);
  const halves = { net_ml: 40, net_low_ml: 0, interpolated: true };
  expect(days[0]).toMatchObject({
    ...halves,
    net_high_ml: 80,
    preliminary: false,
    to: '2025-03-01T06:00:00Z',
  });
  expect(days[1]).toMatchObject({ ...halves, net_high_ml: null, preliminary: true, at_least: true });
});

describe('the default', () => {
  test('is the hours of the 24 h up to the newest level, and the days of 72 h', async () => {
    const drain = await steady('default', '2025-03-01T08:30:00Z', 4);
    const { body } = await get(`/v1/drains/${drain.drain}/windows`);
    expect(body).toMatchObject({
      kind: 'hour',
      from: '2025-02-28T12:30:00Z',
      to: '2025-03-01T12:30:00Z',
      calendar: { zone: 'Europe/Berlin', day_start: '07:00', shift_starts: ['07:00', '09:00', '19:00'] },
    });
    expect(body.windows).toHaveLength(25);
    expect(body.windows[0]).toMatchObject({
      net_ml: null,
      reason: 'not-in-place',
      from: '2025-02-28T12:00:00Z',
    });
    expect(body.windows.at(-1)).toMatchObject({ net_ml: 5, preliminary: true, in_place_h: 1, coverage: 0.5 });
    expect(await windows(drain, 'kind=day')).toHaveLength(4);
  });
  test('is nothing while there is no level', async () => {
    const drain = await placeDrain(service, 'no-level');
    const { body } = await get(`/v1/drains/${drain.drain}/windows`);
    expect(body).toMatchObject({ from: null, to: null, windows: [] });
    const [asked] = await windows(drain, 'from=2025-03-01T10:00:00Z&to=2025-03-01T11:00:00Z');
    expect(asked).toMatchObject({ net_ml: null, reason: 'not-covered', uncovered: ['no-level'] });
  });
});

describe('all drains of a patient', () => {
  let first: TestDrain;
  let second: TestDrain;
  const together = async (query: string) =>
    (await get(`/v1/drains/${first.drain}/patient-windows?${query}`)).body;
  beforeAll(async () => {
    const patient = { patient: { reference: 'Patient/both' } };
    const [from, to] = ['2025-03-01T07:00:00+01:00', '2025-03-01T09:00:00+01:00'];
    first = await placeDrain(service, 'both-1', from, patient);
    second = await placeDrain(service, 'both-2', from, patient);
    await placeDrain(service, 'other', from, { patient: { reference: 'Patient/other' } });
    await tell(first, setUp('both-1-up', from, 0), level('both-1-a', to, 130));
    await tell(second, setUp('both-2-up', from, 0), level('both-2-a', to, 45));
  });

  test('130 and 45 mL in a shift of 2 h: 175 mL, 87.5 mL/h (common practice, no source)', async () => {
    const body = await together('kind=shift&from=2025-03-01T06:00:00Z');
    expect(body).toMatchObject({
      patient: { reference: 'Patient/both' },
      drains: [first.drain, second.drain].sort(),
      closed_together_at: '2025-03-01T08:00:00Z',
      to: '2025-03-01T08:00:00Z',
    });
    expect(body.windows).toHaveLength(1);
    expect(body.windows[0]).toMatchObject({
      ...{ net_ml: 175, rate_ml_h: 87.5, uncertainty_ml: 5.8, rate_uncertainty_ml_h: 2.9, in_place_h: 4 },
      ...{ at_least: false, preliminary: false, incomplete: [], coverage: 1 },
    });
    const alone = body.windows[0].drains.map((part: { drain: string; rate_ml_h: number }) => part.rate_ml_h);
    expect(alone.sort()).toEqual([22.5, 65]);
  });

  test('are as new as the drain that was read last, and incomplete where one is', async () => {
    await tell(first, level('both-1-b', '2025-03-01T10:00:00+01:00', 150));
    expect(await together('kind=hour')).toMatchObject({ to: '2025-03-01T08:00:00Z' });
    const { windows } = await together('kind=hour&from=2025-03-01T08:00:00Z&to=2025-03-01T09:00:00Z');
    expect(windows).toMatchObject([
      {
        ...{ net_ml: 20, at_least: true, preliminary: true, rate_ml_h: null, rate_reason: 'not-covered' },
        incomplete: [{ drain: second.drain, reasons: ['after-last-level'] }],
      },
    ]);
    await tell(second, entry('both-2-out', 'removed', '2025-03-01T09:00:00+01:00'));
    const after = await together('kind=hour&from=2025-03-01T08:00:00Z');
    expect(after.windows).toMatchObject([{ net_ml: 20, at_least: false, rate_ml_h: 20, incomplete: [] }]);
  });

  test('do not hold a drain that was linked to another patient since', async () => {
    const link = (name: string) => ({ patient: { reference: `Patient/${name}` } });
    const moved = await placeDrain(service, 'moved', '08:00');
    await tell(moved, entry('moved-first', 'drain-updated', '08:30', link('moved')));
    const stays = await placeDrain(service, 'stays', '08:00', link('moved'));
    const onward = entry('moved-on', 'drain-updated', '09:00', link('elsewhere'));
    await tell(moved, voided('moved-undone', 'moved-first'), onward);
    const drainsWith = async ({ drain }: TestDrain) =>
      (await get(`/v1/drains/${drain}/patient-windows`)).body.drains;
    expect(await drainsWith(moved)).toEqual([moved.drain]);
    expect(await drainsWith(stays)).toEqual([stays.drain]);
    const never = await placeDrain(service, 'never', '08:00', link('moved'));
    await tell(never, entry('never-linked', 'drain-updated', '09:00', link('moved')));
    expect(await drainsWith(stays)).toEqual([stays.drain, never.drain].sort());
    await tell(never, voided('never-was', 'never'));
    expect(await drainsWith(stays)).toEqual([stays.drain]);
  });

  test('a drain without a patient stands alone', async () => {
    const alone = await steady('alone', '2025-03-01T08:00:00Z', 2);
    const { body } = await get(`/v1/drains/${alone.drain}/patient-windows`);
    expect(body).toMatchObject({ patient: null, drains: [alone.drain] });
    expect(body.windows.at(-1)).toMatchObject({ net_ml: 10, rate_ml_h: 10 });
  });
});

describe('a question is refused', () => {
  const moment = (name: string, value: string, mend: string) =>
    [`${name}=${value}`, `?${name}`, mend] as const;
  test.each([
    moment('kind', 'week', 'send one of "hour", "shift", "day"'),
    moment('from', '2025-03-01', 'send RFC 3339, such as 2026-03-01T08:00:00Z, with + written %2B'),
    moment('to', '2025-03-01T08:00:00', 'send RFC 3339, such as 2026-03-01T08:00:00Z, with + written %2B'),
    moment('to', '9999-12-31T23:00:00Z', 'send a year up to 2999'),
    moment('patient', 'x', 'send only kind, from, to'),
  ])('%s', async (query, pointer, mend) => {
    for (const path of ['windows', 'patient-windows']) {
      const { status, body } = await get(`/v1/drains/nowhere/${path}?${query}`);
      expect(status).toBe(400);
      expect(body.errors).toMatchObject([{ pointer, mend }]);
    }
  });

  test('that asks for more than 200 windows, or for time that ends before it starts', async () => {
    const { drain } = await placeDrain(service, 'most');
    const ask = (from: string, to: string) => get(`/v1/drains/${drain}/windows?from=${from}&to=${to}`);
    const most = await ask('2025-03-01T00:00:00Z', '2025-03-09T08:00:00Z');
    expect(most.body.windows).toHaveLength(200);
    const more = await ask('2025-03-01T00:00:00Z', '2025-03-09T08:00:00.001Z');
    expect(more).toMatchObject({ status: 400, body: { errors: [{ mend: 'ask for less time' }] } });
    const turned = await ask('2025-03-01T00:00:00Z', '2025-03-01T00:00:00Z');
    expect(turned).toMatchObject({ status: 400, body: { errors: [{ pointer: '?from' }] } });
  });

  test('about an unknown drain', async () => {
    for (const path of ['windows', 'patient-windows'])
      expect((await get(`/v1/drains/nowhere/${path}`)).status).toBe(404);
  });
});

describe('the configuration', () => {
  const read = (more: object) =>
    readConfig({
      DRAINLEDGER_DATABASE: 'x',
      DRAINLEDGER_ORIGIN: 'test.example',
      DRAINLEDGER_DEVELOPMENT: 'yes',
      ...more,
    });
  test('is the clock of UTC, the day from 07:00 and shifts of 12 h where none is told', () => {
    expect(read({}).calendar).toEqual({ zone: 'UTC', dayStart: 420, shiftStarts: [420, 1140] });
    const told = { DRAINLEDGER_DAY_START: '00:00', DRAINLEDGER_SHIFTS: '06:30' };
    expect(read(told).calendar).toEqual({ zone: 'UTC', dayStart: 0, shiftStarts: [390] });
  });
  test.each([
    [
      { DRAINLEDGER_ZONE: 'Mars/Olympus' },
      "DRAINLEDGER_ZONE 'Mars/Olympus' is no time zone of the IANA database",
    ],
    [{ DRAINLEDGER_ZONE: '+01:00' }, "DRAINLEDGER_ZONE '+01:00' is no time zone"],
    [{ DRAINLEDGER_DAY_START: '24:00' }, "DRAINLEDGER_DAY_START '24:00' is no local time of day"],
    [{ DRAINLEDGER_DAY_START: '7:00' }, "DRAINLEDGER_DAY_START '7:00' is no local time of day"],
    [{ DRAINLEDGER_SHIFTS: '' }, "DRAINLEDGER_SHIFTS '' is no list of local times"],
    [{ DRAINLEDGER_SHIFTS: '07:00, 19:00' }, "DRAINLEDGER_SHIFTS '07:00, 19:00' is no list of local times"],
    [{ DRAINLEDGER_SHIFTS: '19:00,07:00' }, "DRAINLEDGER_SHIFTS '19:00,07:00' must rise"],
    [{ DRAINLEDGER_SHIFTS: '07:00,07:00' }, "DRAINLEDGER_SHIFTS '07:00,07:00' must rise"],
  ])('%j is refused', (more, message) => {
    expect(() => read(more)).toThrow(ConfigError);
    expect(() => read(more)).toThrow(message);
  });
});
