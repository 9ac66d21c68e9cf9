/** How often a page asks anew when much is charted. */
import { afterEach, beforeEach, expect, test, vi } from 'vitest';
import { spaced } from '../../src/web/spaced.ts';

beforeEach(() => {
  vi.useFakeTimers();
});
afterEach(() => {
  vi.useRealTimers();
});

test('at once, then no more often than it may, and once more for what came last', () => {
  let calls = 0;
  const ask = spaced(() => {
    calls += 1;
  }, 1000);
  ask();
  expect(calls).toBe(1);
  for (let n = 0; n < 500; n += 1) {
    ask();
    vi.advanceTimersByTime(10);
  }
  // 5 s of 100 a second: one at first and one a second.
  expect(calls).toBe(6);
  vi.advanceTimersByTime(5000);
  expect(calls).toBeLessThanOrEqual(7);
  const before = calls;
  ask();
  expect(calls).toBe(before + 1);
});

test('what comes while it rests is asked for when it has rested', () => {
  let calls = 0;
  const ask = spaced(() => {
    calls += 1;
  }, 1000);
  ask();
  ask();
  expect(calls).toBe(1);
  vi.advanceTimersByTime(1000);
  expect(calls).toBe(2);
  vi.advanceTimersByTime(10_000);
  expect(calls).toBe(2);
});
