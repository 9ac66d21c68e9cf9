/** Accesses that differ in nothing but their time are counted, and what is counted is told. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import type { Access } from '../../src/audit/access.ts';
import { createAccesses, REPEATS_MS } from '../../src/record/accesses.ts';
import { StoreFailed, StoreReadOnly } from '../../src/store/port.ts';

const START = Date.parse('2026-11-20T08:00:00Z');

function bench(access: (body: string) => Promise<void> = async () => {}) {
  const told: { request: string; times?: number; from?: string; to?: string }[] = [];
  const warned: string[] = [];
  let nowMs = START;
  const accesses = createAccesses({
    store: {
      async access(_actor, bodies) {
        for (const body of bodies) {
          await access(body);
          told.push(JSON.parse(body));
        }
      },
    },
    log: { warn: (_facts, message) => warned.push(message) },
    now: () => nowMs,
  });
  return { accesses, told, warned, pass: (ms: number) => (nowMs += ms) };
}

const asked = (request: string, more: Partial<Access> = {}): Access => ({
  client: 'app',
  subject: null,
  credential: null,
  address: '127.0.0.1',
  request_id: null,
  interaction: 'read',
  operation: 'chart',
  request,
  status: 200,
  patient: null,
  drains: [],
  ...more,
});

test('the first is told at once, repeats when their time is over, and then the next is told at once again', async () => {
  const { accesses, told, pass } = bench();
  for (let n = 0; n < 4; n += 1) {
    await accesses.note([asked('a', { request_id: `id-${n}` })]);
    pass(60_000);
  }
  expect(told).toHaveLength(1);
  pass(REPEATS_MS);
  await accesses.note([asked('a')]);
  expect(told.map(({ times, from, to }) => [times, from, to])).toEqual([
    [undefined, undefined, undefined],
    [3, '2026-11-20T08:01:00.000Z', '2026-11-20T08:03:00.000Z'],
    [undefined, undefined, undefined],
  ]);
  await accesses.close();
  expect(told).toHaveLength(3);
});

test('nothing is left out: what is told adds up to what was asked, by each request', async () => {
  const step = fc.record({
    request: fc.constantFrom('a', 'b', 'c'),
    status: fc.constantFrom(200, 403),
    pauseMs: fc.constantFrom(0, 1000, REPEATS_MS / 3, REPEATS_MS + 1),
  });
  await fc.assert(
    fc.asyncProperty(fc.array(step, { maxLength: 60 }), async (steps) => {
      const { accesses, told, pass } = bench();
      for (const { request, status, pauseMs } of steps) {
        await accesses.note([asked(request, { status })]);
        pass(pauseMs);
      }
      await accesses.close();
      for (const request of ['a', 'b', 'c']) {
        const sum = told
          .filter((each) => each.request === request)
          .reduce((n, { times = 1 }) => n + times, 0);
        expect(sum).toBe(steps.filter((each) => each.request === request).length);
      }
    }),
  );
});

test('a repeat is not lost that comes while what it repeats is told', async () => {
  let written = () => {};
  const writing = new Promise<void>((resolve) => {
    written = resolve;
  });
  const { accesses, told, pass } = bench(async (body) => {
    if (body.includes('slow')) await writing;
  });
  await accesses.note([asked('a')]);
  pass(REPEATS_MS - 1);
  const both = accesses.note([asked('a'), asked('slow')]);
  pass(1);
  await accesses.note([asked('b')]);
  written();
  await both;
  await accesses.close();
  const times = told.filter(({ request }) => request === 'a').map((each) => each.times ?? 1);
  expect(times.reduce((n, each) => n + each, 0)).toBe(2);
});

test('one that could not be written is no access that others repeat', async () => {
  let fails = true;
  const { accesses, told } = bench(async () => {
    if (fails) throw new StoreFailed('full');
  });
  const both = [accesses.note([asked('a')]), accesses.note([asked('a')])];
  for (const each of both) await expect(each).rejects.toThrow(StoreFailed);
  fails = false;
  await accesses.note([asked('a')]);
  expect(told).toHaveLength(1);
  await accesses.close();
});

test('a ledger that is only read is still shown, and the log says so without saying whose', async () => {
  const { accesses, told, warned } = bench(async () => {
    throw new StoreReadOnly('behind');
  });
  await accesses.note([asked('GET /v1/drains/x', { patient: { reference: 'Patient/1' }, drains: ['x'] })]);
  expect([told, warned]).toEqual([[], ['an access could not be recorded: the ledger is only read']]);
  await accesses.close();
});

test('so many different ones that not all are remembered: the oldest is told, and none is lost', async () => {
  const { accesses, told } = bench();
  const asks = 5100;
  for (let n = 0; n < asks; n += 1) await accesses.note([asked(`a-${n}`)]);
  for (const n of [0, asks - 1]) await accesses.note([asked(`a-${n}`)]);
  // The first was forgotten, and is written again; the last is only counted.
  expect(told).toHaveLength(asks + 1);
  await accesses.close();
  expect(told).toHaveLength(asks + 2);
});
