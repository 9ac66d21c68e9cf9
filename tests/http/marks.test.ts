/** What is accepted and marked: the mark over the API, what it does to the arithmetic, and a later entry that clears it. */
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import {
  at,
  content,
  corrected,
  DEVICE,
  entry,
  level,
  placeDrain,
  placement,
  setUp,
  type TestDrain,
  tell,
  voided,
} from './messages.ts';
import { startTestService, type TestService } from './service.ts';

let service: TestService;
beforeAll(async () => {
  service = await startTestService();
});
afterAll(() => service.stop());

/** Keys are shared by all drains of a service: each test has a name that starts its own. */
async function drainWith(name: string, ...messages: readonly object[]): Promise<TestDrain> {
  const drain = await placeDrain(service, `${name}-placed`);
  await tell(drain, ...messages);
  return drain;
}

/** Enters a message that must be taken, and answers with the row of its receipt. */
async function marksOnEntry(drain: TestDrain, message: object): Promise<readonly string[]> {
  const { status, text } = await drain.enter(message);
  expect(status).toBe(201);
  return JSON.parse(text).derived.marks;
}

const correction = (key: string, of: object, target: string): object => corrected(key, target, content(of));
const soon = (minutes: number): string => new Date(Date.now() + minutes * 60_000).toISOString();

describe('left out of the arithmetic while the mark stands', () => {
  test('above capacity', async () => {
    const drain = await drainWith('cap', setUp('cap-up', '08:00', 0), level('cap-1', '09:00', 500));
    expect(await marksOnEntry(drain, level('cap-2', '10:00', 2100))).toEqual(['above-capacity']);
    await tell(drain, level('cap-3', '11:00', 600));
    expect(await drain.row('cap-2')).toMatchObject({ counted: true, left_out: ['level'] });
    expect((await drain.row('cap-2')).interval).toBeUndefined();
    expect((await drain.row('cap-3')).interval).toMatchObject({ drained_ml: 100, rate_ml_h: 50 });

    await tell(drain, correction('cap-4', level('', '10:00', 550), 'cap-2'));
    expect(await drain.row('cap-2')).toMatchObject({ marks: [], left_out: [], interval: { drained_ml: 50 } });
    expect((await drain.row('cap-3')).interval).toMatchObject({ drained_ml: 50, rate_ml_h: 50 });
  });

  test('before placement, until the placement is corrected', async () => {
    const drain = await drainWith('bef', setUp('bef-up', '07:10', 0));
    expect(await marksOnEntry(drain, level('bef-1', '07:40', 20))).toEqual(['before-placement']);
    expect(await drain.row('bef-1')).toMatchObject({ counted: false });
    expect((await drain.row('bef-1')).interval).toBeUndefined();

    const earlier = content(placement('', '07:00'));
    await tell(drain, corrected('bef-2', 'bef-placed', { kind: 'placed', ...earlier }));
    expect(await drain.row('bef-1')).toMatchObject({
      marks: [],
      counted: true,
      interval: { drained_ml: 20 },
    });
    expect((await drain.row('bef-up')).marks).toEqual([]);
  });

  test('after removal, until the removal is entered in error', async () => {
    const drain = await drainWith('rem', setUp('rem-up', '08:00', 0), entry('rem-1', 'removed', '10:00'));
    expect(await marksOnEntry(drain, level('rem-2', '11:00', 30))).toEqual(['after-removal']);
    expect(await drain.row('rem-2')).toMatchObject({ counted: false });
    await tell(drain, voided('rem-3', 'rem-1'));
    expect(await drain.row('rem-2')).toMatchObject({
      marks: [],
      counted: true,
      interval: { drained_ml: 30 },
    });
  });

  test('a grade beyond the leak scale', async () => {
    const drain = await drainWith('leak', setUp('leak-up', '08:00', 0));
    const { text } = await drain.enter(level('leak-1', '09:00', 10, { air_leak: { grade: 7 } }));
    const { entry: anchor, derived } = JSON.parse(text);
    expect(derived).toMatchObject({
      marks: ['beyond-leak-scale'],
      counted: true,
      interval: { drained_ml: 10 },
    });
    const grade = async () => {
      const path = `/fhir/Observation/air-leak-grade.${drain.drain}.${anchor}`;
      return JSON.parse((await service.send('GET', path)).text);
    };
    expect((await grade()).interpretation[0].coding[0].code).toBe('left-out');

    await tell(drain, correction('leak-2', level('', '09:00', 10, { air_leak: { grade: 5 } }), 'leak-1'));
    expect((await drain.row('leak-1')).marks).toEqual([]);
    expect((await grade()).interpretation).toBeUndefined();
  });

  test('levels at one instant that conflict, until one is entered in error', async () => {
    const drain = await drainWith('con', setUp('con-up', '08:00', 0), level('con-1', '09:00', 300));
    expect(await marksOnEntry(drain, level('con-2', '09:00', 350))).toEqual(['conflicting-levels']);
    for (const key of ['con-1', 'con-2']) {
      const row = await drain.row(key);
      expect(row).toMatchObject({ marks: ['conflicting-levels'], left_out: ['level'] });
      expect(row.interval).toBeUndefined();
    }
    await tell(drain, voided('con-3', 'con-2'));
    expect(await drain.row('con-1')).toMatchObject({
      marks: [],
      left_out: [],
      interval: { drained_ml: 300 },
    });
  });

  test('a level of neither run, until the unit change is corrected', async () => {
    const change = (key: string, closing: number) =>
      entry(key, 'unit-changed', '10:00', {
        profile: 'wet-2000',
        closing_level_ml: closing,
        opening_level_ml: 0,
      });
    const drain = await drainWith(
      'nei',
      setUp('nei-up', '08:00', 0),
      level('nei-1', '09:00', 200),
      change('nei-2', 500),
    );
    expect(await marksOnEntry(drain, level('nei-3', '10:00', 250))).toEqual(['level-of-neither-run']);
    expect(await drain.row('nei-3')).toMatchObject({ left_out: ['level'] });
    expect((await drain.row('nei-2')).interval).toMatchObject({ drained_ml: 300 });
    await tell(drain, correction('nei-4', change('', 250), 'nei-2'));
    expect(await drain.row('nei-3')).toMatchObject({ marks: [], left_out: [] });
    await tell(drain, level('nei-5', '11:00', 60));
    expect((await drain.row('nei-5')).cumulative?.net_ml).toBe(310);
  });

  test("a device's time in question, until it is confirmed by a correction", async () => {
    const drain = await drainWith('time', setUp('time-up', '08:00', 0), level('time-1', '09:00', 40));
    const ahead = { ...level('time-2', soon(60), 90), author: DEVICE };
    expect(await marksOnEntry(drain, ahead)).toEqual(['time-in-question']);
    expect(await drain.row('time-2')).toMatchObject({ counted: false });
    await tell(drain, level('time-3', '11:00', 100));
    expect((await drain.row('time-3')).interval).toMatchObject({ drained_ml: 60 });

    await tell(drain, correction('time-4', level('', '10:00', 90), 'time-2'));
    expect(await drain.row('time-2')).toMatchObject({
      marks: [],
      counted: true,
      interval: { drained_ml: 50 },
    });
    expect((await drain.row('time-3')).interval).toMatchObject({ drained_ml: 10 });
  });
});

describe('counted', () => {
  test('finer than the graduations, until the unit is corrected', async () => {
    const drain = await drainWith('fine', setUp('fine-up', '08:00', 0));
    expect(await marksOnEntry(drain, level('fine-1', '09:00', 102))).toEqual(['finer-than-graduations']);
    expect(await drain.row('fine-1')).toMatchObject({
      counted: true,
      left_out: [],
      interval: { drained_ml: 102 },
    });
    await tell(drain, correction('fine-2', setUp('', '08:00', 0, 'electronic-800'), 'fine-up'));
    expect(await drain.row('fine-1')).toMatchObject({ marks: [], interval: { drained_ml: 102 } });
  });

  test('a sudden jump, until a late reading lies between', async () => {
    const drain = await drainWith('jump', setUp('jump-up', '08:00', 0));
    expect(await marksOnEntry(drain, level('jump-1', '08:40', 600))).toEqual(['sudden-jump']);
    expect((await drain.row('jump-1')).interval).toMatchObject({ drained_ml: 600, rate_ml_h: 900 });
    await tell(drain, level('jump-2', '08:20', 300));
    expect(await drain.row('jump-1')).toMatchObject({
      marks: [],
      interval: { drained_ml: 300, rate_ml_h: 900 },
    });
  });

  test('clock skew, until the time is corrected', async () => {
    const drain = await drainWith('skew', setUp('skew-up', '08:00', 0));
    expect(await marksOnEntry(drain, level('skew-1', soon(3), 50))).toEqual(['clock-skew']);
    expect(await drain.row('skew-1')).toMatchObject({ counted: true, interval: { drained_ml: 50 } });
    await tell(drain, correction('skew-2', level('', '10:00', 50), 'skew-1'));
    expect(await drain.row('skew-1')).toMatchObject({
      marks: [],
      interval: { drained_ml: 50, rate_ml_h: 25 },
    });
  });

  test('a possible double entry, until one is entered in error', async () => {
    const drain = await drainWith('two', setUp('two-up', '08:00', 0), level('two-1', '09:00', 50));
    expect(await marksOnEntry(drain, level('two-2', '09:03', 50))).toEqual(['possible-double-entry']);
    expect(await drain.row('two-2')).toMatchObject({ counted: true, interval: { drained_ml: 0 } });
    await tell(drain, voided('two-3', 'two-1'));
    expect(await drain.row('two-2')).toMatchObject({ marks: [], interval: { drained_ml: 50 } });
  });

  test('suction on without bubbling, until the reading is corrected', async () => {
    const reading = (key: string, bubbling: string) =>
      entry(key, 'reading', '09:00', {
        suction: { source: 'on', column_cmh2o: 20, bubbling },
        seal: { level_cmh2o: 4 },
      });
    const drain = await drainWith('bub', setUp('bub-up', '08:00', 0));
    expect(await marksOnEntry(drain, reading('bub-1', 'none'))).toEqual(['suction-without-bubbling']);
    expect((await drain.row('bub-1')).total_negativity).toEqual({
      value_cmh2o: null,
      low_cmh2o: 4,
      high_cmh2o: 24,
      reason: 'no-bubbling',
    });
    await tell(drain, correction('bub-2', reading('', 'gentle'), 'bub-1'));
    expect(await drain.row('bub-1')).toMatchObject({ marks: [], total_negativity: { value_cmh2o: 24 } });
  });
});

test('what was entered is in the ledger whatever its marks are', async () => {
  const drain = await drainWith('kept', level('kept-1', '07:00', 2500));
  expect(await drain.ledger()).toContain('"level_ml":2500');
  expect(await drain.ledger()).toContain(`"effective_at":"${at('07:00')}"`);
});
