/** Where a drain stands, over the real service: leak, chamber, set-up and swing, in use and after removal. */
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { entry, level, placeDrain, setUp, type TestDrain, tell } from './messages.ts';
import { startTestService, type TestService } from './service.ts';

let service: TestService;
let drain: TestDrain;

beforeAll(async () => {
  service = await startTestService();
  drain = await placeDrain(service, 'state', '08:00', { chest_closed_at: '2025-03-01T06:00:00Z' });
  await tell(
    drain,
    entry('up', 'set-up', '08:00', {
      profile: 'wet-2000',
      opening_level_ml: 0,
      seal_filled_cmh2o: 2,
      suction: { source: 'on', column_cmh2o: 20, ordered_cmh2o: 20, bubbling: 'gentle' },
    }),
    ...[4, 4, 3, 3, 2, 1].map((grade, i) =>
      level(`leak-${i}`, `${String(9 + i).padStart(2, '0')}:00`, 300 + 240 * i, {
        air_leak: { grade, phase: 'expiratory' },
        ...(i === 0 ? { tidaling: 'present' } : {}),
      }),
    ),
    entry('clear', 'reading', '15:00', {
      air_leak: { grade: 0, phase: 'none', flow_ml_min: 0 },
      tidaling: 'absent',
    }),
    entry('clear-2', 'reading', '15:30', { air_leak: { grade: 0, phase: 'none' }, tidaling: 'present' }),
    entry('clear-3', 'reading', '16:45', { air_leak: { phase: 'none' } }),
    entry('clamp', 'clamped', '17:00'),
    level('held', '18:00', 1500, { tidaling: 'absent', air_leak: { phase: 'none' } }),
  );
});
afterAll(() => service.stop());

const state = async (of: TestDrain, asOf = '') => {
  const { status, text } = await service.send('GET', `/v1/drains/${of.drain}/state${asOf}`);
  expect(status).toBe(200);
  return JSON.parse(text);
};
const asOf = (clock: string) => `?as_of=2025-03-01T${clock}:00Z`;

describe('the state of a drain in use', () => {
  test('shows the trend of the leak and what was compared', async () => {
    const { air_leak: leak } = await state(drain, asOf('14:30'));
    expect(leak.grade_trend).toEqual({
      trend: 'falling',
      reason: null,
      from: '2025-02-28T15:00:00.000Z',
      to: '2025-03-01T14:00:00Z',
      compared: { leak_scale_max: 5, suction: 'on', phase: 'expiratory' },
      worst_of_hours: [4, 4, 3, 3, 2, 1].map((grade, i) => ({
        from: new Date(Date.UTC(2025, 2, 1, 9 + i)).toISOString(),
        grade,
      })),
      not_compared: 0,
      s: -13,
      // 2 of the 180 arrangements of these grades are as strong.
      p: 0.01111,
    });
    expect(leak.flow_trend).toMatchObject({ trend: 'no-trend-shown', reason: 'not-assessed', s: null });
    expect(leak.leak_free).toMatchObject({ value_h: null, reason: 'leak-at-newest-assessment' });
    expect(leak.leak_days).toMatchObject({
      value_d: 0.3,
      origin: 'chest_closed_at',
      from: '2025-03-01T06:00:00Z',
      to: '2025-03-01T14:00:00Z',
    });
  });

  test('says no fall once the swing was lost, and from when there was no leak', async () => {
    const { air_leak: leak } = await state(drain, asOf('17:30'));
    expect(leak.grade_trend).toMatchObject({ trend: 'no-trend-shown', reason: 'swing-lost', s: -19 });
    expect(leak.newest).toMatchObject({ leak: false, phase: 'none', effective_at: '2025-03-01T16:45:00Z' });
    expect(leak.leak_free).toMatchObject({
      value_h: 1.2,
      from: '2025-03-01T15:00:00Z',
      to: '2025-03-01T16:45:00Z',
      starts_after: 'leak',
      not_counted_h: 0.5,
      not_counted: ['swing-lost'],
    });
    expect((await state(drain)).air_leak).toEqual(leak);
  });

  test('shows the chamber: three quarters full, and how long it lasts', async () => {
    expect((await state(drain, asOf('14:30'))).chamber).toEqual({
      capacity_ml: 2000,
      level_ml: 1500,
      level_at: '2025-03-01T14:00:00Z',
      fill_fraction: 0.75,
      three_quarters_full: true,
      time_to_full: {
        value_h: 2.1,
        low_h: 2.1,
        high_h: 2.1,
        reason: null,
        drained_rate_ml_h: 240,
        rate_from: '2025-03-01T10:00:00Z',
        rate_to: '2025-03-01T14:00:00Z',
      },
    });
    // The four hours before 18:00 hold one interval, in which nothing drained.
    expect((await state(drain)).chamber.time_to_full).toEqual({
      value_h: null,
      low_h: null,
      high_h: null,
      reason: 'no-drainage',
    });
  });

  test('shows what of the set-up was charted, and by which entry', async () => {
    const { set_up_check: check } = await state(drain);
    const by = { effective_at: '2025-03-01T08:00:00Z', entry: check.unit.entry };
    expect(check).toEqual({
      unit: by,
      seal_filled: { status: 'done', shown_by: by },
      suction_proven: { status: 'done', shown_by: by },
      connections_checked: { status: 'missing', shown_by: null },
    });
  });

  test('shows whether the swing was lost, by the two entries behind it', async () => {
    const { patency } = await state(drain, asOf('15:10'));
    expect(patency).toMatchObject({
      swing: 'absent',
      swing_lost: true,
      reason: null,
      newest_present: { effective_at: '2025-03-01T09:00:00Z', suction: 'on' },
      newest_absent: { effective_at: '2025-03-01T15:00:00Z', suction: 'on' },
    });
    // What the clamped tube showed at 18:00 does not count.
    expect((await state(drain)).patency).toMatchObject({ swing: 'present', swing_lost: false });
  });

  test('names since when the tube is clamped, though it was read meanwhile', async () => {
    expect((await state(drain)).clamped_since).toBe('2025-03-01T17:00:00.000Z');
    expect((await state(drain, asOf('16:00'))).clamped_since).toBeNull();
  });

  test('has reasons, not numbers, where nothing is known', async () => {
    const bare = await placeDrain(service, 'bare-state', '08:00', { site: 'mediastinal' });
    expect(await state(bare)).toMatchObject({
      chamber: null,
      set_up_check: null,
      patency: { swing: null, swing_lost: null, reason: 'mediastinal-site' },
      air_leak: {
        newest: null,
        grade_trend: { trend: 'no-trend-shown', reason: 'not-assessed', from: null },
        leak_free: { value_h: null, reason: 'not-assessed' },
        leak_days: { value_d: null, reason: 'not-assessed' },
      },
    });
  });
});

describe('the state of a drain that was removed', () => {
  test('shows nothing as in use, and what it was before', async () => {
    const out = await placeDrain(service, 'out', '08:00');
    await tell(
      out,
      setUp('out-up', '08:00', 0),
      entry('out-on', 'suction-changed', '08:10', { source: 'on' }),
      level('out-1', '09:00', 1600, { tidaling: 'present', air_leak: { grade: 1 } }),
      entry('out-clamp', 'clamped', '09:30'),
      entry('out-out', 'removed', '10:00'),
    );
    const inUse = { level_ml: 1600, fill_fraction: 0.8, suction_source: 'on', unit: { id: 'wet-2000' } };
    expect(await state(out, asOf('09:59'))).toMatchObject({
      ...inUse,
      clamped_since: '2025-03-01T09:30:00.000Z',
    });
    for (const time of ['', asOf('10:00'), asOf('12:00')]) {
      expect(await state(out, time)).toMatchObject({
        removed_at: '2025-03-01T10:00:00Z',
        unit: null,
        level_ml: null,
        fill_fraction: null,
        suction_source: null,
        clamped_since: null,
        chamber: null,
        set_up_check: null,
        patency: null,
        air_leak: { newest: { grade: 1 }, leak_days: { value_d: 0, origin: 'placed_at' } },
        last_reading: { effective_at: '2025-03-01T09:00:00Z' },
      });
    }
  });
});

test('total negativity of the old unit is not told as that of the new one, in state and overview', async () => {
  const own = await placeDrain(service, 'units', '08:00');
  const read = {
    suction: { source: 'on', column_cmh2o: 15, bubbling: 'gentle' },
    seal: { level_cmh2o: 4 },
  };
  await tell(own, setUp('units-up', '08:00', 0), level('units-1', '09:00', 100, read));
  const told = async () => {
    const { drains } = JSON.parse((await service.send('GET', '/v1/overview?count=200')).text);
    const { total_negativity: inOverview } = drains.find((row: { drain: string }) => row.drain === own.drain);
    const { total_negativity, last_total_negativity } = await state(own);
    expect(inOverview).toEqual(total_negativity);
    return { now: total_negativity, last: last_total_negativity.total_negativity.value_cmh2o };
  };
  expect(await told()).toEqual({ now: { at: '2025-03-01T09:00:00Z', value_cmh2o: 19 }, last: 19 });
  const change = { profile: 'wet-2000', closing_level_ml: 120, opening_level_ml: 0 };
  await tell(own, entry('units-change', 'unit-changed', '10:00', change), level('units-2', '11:00', 20));
  expect(await told()).toEqual({
    now: {
      at: '2025-03-01T10:00:00Z',
      value_cmh2o: null,
      low_cmh2o: null,
      high_cmh2o: null,
      reason: 'unit-attached-since',
    },
    last: 19,
  });
  expect((await state(own, asOf('09:30'))).total_negativity).toMatchObject({ value_cmh2o: 19 });
  await tell(own, level('units-3', '12:00', 40, { ...read, seal: { level_cmh2o: 2 } }));
  expect(await told()).toEqual({ now: { at: '2025-03-01T12:00:00Z', value_cmh2o: 17 }, last: 17 });
  await tell(own, entry('units-out', 'removed', '13:00'));
  expect((await state(own)).total_negativity).toBeNull();
});
