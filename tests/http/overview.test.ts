/** The overview: all open drains, sorted and paged, kept until an entry concerns them. */
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { createOverview } from '../../src/record/overview/overview.ts';
import type { CommitListener } from '../../src/store/port.ts';
import { DEFAULT_POLICY } from '../support/policy.ts';
import { entry, level, placeDrain, setUp, type TestDrain, tell, voided } from './messages.ts';
import { startTestService, type TestService } from './service.ts';

let service: TestService;
let slow: TestDrain;
let fast: TestDrain;
const overview = async (query = '') => {
  const { status, text } = await service.send('GET', `/v1/overview${query}`);
  expect(status).toBe(200);
  return JSON.parse(text);
};
const namesIn = ({ drains }: { drains: readonly { drain: string }[] }): string[] =>
  drains.map(({ drain }) => drain);
const rowOf = async ({ drain }: TestDrain) =>
  (await overview('?count=200')).drains.find((row: { drain: string }) => row.drain === drain);
const ago = (hours: number): string => new Date(Date.now() - hours * 3_600_000).toISOString();

beforeAll(async () => {
  service = await startTestService();
  slow = await placeDrain(service, 'slow', ago(30), { patient: { reference: 'Patient/slow' } });
  fast = await placeDrain(service, 'fast', ago(5), { population: 'paediatric' });
  await tell(slow, setUp('slow-up', ago(30), 0), level('slow-1', ago(29), 20), level('slow-2', ago(28), 30));
  await tell(
    fast,
    setUp('fast-up', ago(5), 0),
    level('fast-1', ago(2), 300),
    level('fast-2', ago(1), 1600, {
      suction: { source: 'on', column_cmh2o: 20, bubbling: 'gentle' },
      seal: { level_cmh2o: 6 },
      air_leak: { grade: 2, phase: 'expiratory' },
      tidaling: 'present',
    }),
  );
});
afterAll(() => service.stop());

describe('a row', () => {
  test('has the newest of each value, with what stands for review', async () => {
    expect(await rowOf(fast)).toMatchObject({
      site: 'pleural-left',
      level_ml: 1600,
      chamber: { fill_fraction: 0.8, three_quarters_full: true },
      last_interval: { net_ml: 1300, rate_ml_h: 1300 },
      cumulative: { net_ml: 1600 },
      total_negativity: { value_cmh2o: 26 },
      air_leak: { grade: 2, leak_scale_max: 5 },
      swing: 'present',
      overdue: null,
    });
    const { advisories } = await rowOf(fast);
    expect(advisories).toContainEqual(
      expect.objectContaining({ rule: 'three-quarters-full', value: 0.8, threshold: 0.75, reviewed: false }),
    );
  });

  test('shows silence as age, and as overdue where a reading was expected', async () => {
    const row = await rowOf(slow);
    expect(row.age_s).toBeGreaterThanOrEqual(28 * 3600);
    expect(row.overdue).toEqual({ expected_every_h: expect.any(Number) });
  });

  test('is worked out anew when its drain is charted, reviewed, or another of its patient is', async () => {
    await tell(slow, level('slow-3', ago(27), 70));
    expect(await rowOf(slow)).toMatchObject({ level_ml: 70, last_interval: { net_ml: 40 } });
    const [{ id }] = (await rowOf(fast)).advisories;
    await tell(fast, entry('seen', 'reviewed', ago(0), { advisory: id, words: 'seen' }));
    expect((await rowOf(fast)).advisories[0]).toMatchObject({ id, reviewed: true });
    const sibling = await placeDrain(service, 'slow-sibling', ago(20), {
      patient: { reference: 'Patient/slow' },
    });
    await tell(sibling, entry('kg', 'weighed', ago(29.5), { weight_kg: 10 }));
    expect((await rowOf(slow)).last_interval).toMatchObject({ rate_ml_kg_h: 4 });
    await tell(sibling, entry('sibling-out', 'removed', ago(1)));
  });

  test('goes when the drain is out, and comes back when that was in error', async () => {
    const open = (await overview()).open;
    await tell(slow, entry('slow-out', 'removed', ago(1)));
    expect(await rowOf(slow)).toBeUndefined();
    expect((await overview()).open).toBe(open - 1);
    await tell(slow, { ...voided('slow-back', 'slow-out'), effective_at: ago(0) });
    expect(await rowOf(slow)).toMatchObject({ level_ml: 70 });
  });
});

describe('the list', () => {
  test.each([
    ['-rate', ['fast', 'slow']],
    ['rate', ['slow', 'fast']],
    ['-age', ['slow', 'fast']],
    ['-fill', ['fast', 'slow']],
    ['placed_at', ['slow', 'fast']],
    ['-cumulative', ['fast', 'slow']],
  ])('sorted by %s', async (sort, expected) => {
    const names = { slow: slow.drain, fast: fast.drain };
    expect(namesIn(await overview(`?sort=${sort}`))).toEqual(expected.map((name) => names[name as 'slow']));
  });

  test('by default those first that have something nobody reviewed', async () => {
    const bare = await placeDrain(service, 'bare', ago(1));
    await tell(fast, level('fast-3', ago(0.5), 1900));
    expect(namesIn(await overview()).at(-1)).not.toBe(fast.drain);
    // Nothing is known of its rate: it stands last, whichever way.
    expect(namesIn(await overview('?sort=-rate')).at(-1)).toBe(bare.drain);
    expect(namesIn(await overview('?sort=rate')).at(-1)).toBe(bare.drain);
  });

  test('by page', async () => {
    const whole = namesIn(await overview('?sort=drain'));
    const first = await overview('?sort=drain&count=2');
    expect(first.next_after).toBe('2');
    const second = await overview(`?sort=drain&count=2&after=${first.next_after}`);
    expect([...namesIn(first), ...namesIn(second)]).toEqual(whole);
    expect(second.next_after).toBeNull();
  });

  test.each([
    ['sort=name', 'is none of the known values'],
    ['count=0', 'is no whole number from 1 to 200'],
    ['count=201', 'is no whole number from 1 to 200'],
    ['after=-1', 'is no number of rows'],
    ['page=2', 'is no parameter of this'],
  ])('%s is refused: it %s', async (query, detail) => {
    const { status, text } = await service.send('GET', `/v1/overview?${query}`);
    expect([status, JSON.parse(text).errors[0].detail]).toEqual([400, detail]);
  });
});

describe('what is kept', () => {
  test('of drains that nothing concerned is not read again', async () => {
    const read: string[] = [];
    let tellOf: CommitListener = () => undefined;
    const store = {
      drains: (after: string) => ['a', 'b', 'c'].filter((name) => name > after),
      books(drain: string) {
        read.push(drain);
        return new Map();
      },
      keptRow: () => null,
      keepRow: () => undefined,
      listen(listener: CommitListener) {
        tellOf = listener;
        return () => undefined;
      },
    };
    const kept = createOverview(store, DEFAULT_POLICY);
    await Promise.all([kept.rows(), kept.rows()]);
    expect(read).toEqual(['a', 'b', 'c']);
    tellOf({ logIndex: 1, drain: 'b', seq: 1, kind: 'reading', recordedAt: '' }, ['b', 'c']);
    await kept.rows();
    await kept.rows();
    expect(read).toEqual(['a', 'b', 'c', 'b', 'c']);
  });
});
