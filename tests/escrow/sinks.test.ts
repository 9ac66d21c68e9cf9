/** How checkpoints are fed to a sink that is slow, down, or well. */
import { afterEach, beforeEach, expect, test, vi } from 'vitest';
import { feed } from '../../src/escrow/sinks.ts';

beforeEach(() => void vi.useFakeTimers({ now: 1_000_000 }));
afterEach(() => void vi.useRealTimers());

/** A sink that does with each checkpoint what it is told to. */
function fed(answers: ('takes' | 'refuses' | number)[]) {
  const taken: string[] = [];
  const said: string[] = [];
  let tries = 0;
  const tell = (_facts: object, message: string) => void said.push(message);
  const sink = {
    name: 'test',
    async take(checkpoint: string) {
      tries += 1;
      const answer = answers.shift() ?? 'takes';
      if (typeof answer === 'number') await new Promise((resolve) => setTimeout(resolve, answer));
      if (answer === 'refuses') throw new Error('HTTP 500');
      taken.push(checkpoint);
    },
  };
  return { taken, said, tries: () => tries, feed: feed(sink, { warn: tell, info: tell }, Date.now) };
}

test('each is given in turn; what comes while one is under way gives way to the newest', async () => {
  const sink = fed(['takes', 500]);
  sink.feed.offer('1');
  await vi.advanceTimersByTimeAsync(0);
  sink.feed.offer('2');
  await vi.advanceTimersByTimeAsync(100);
  for (const each of ['3', '4', '5']) sink.feed.offer(each);
  await vi.advanceTimersByTimeAsync(400);
  expect(sink.taken).toEqual(['1', '2', '5']);
});

test('one that was refused is tried again after 1, 2, 4 … 60 s, told once, and shown since when', async () => {
  const sink = fed(Array(9).fill('refuses'));
  sink.feed.offer('1');
  await vi.advanceTimersByTimeAsync(0);
  expect(sink.feed.state()).toEqual({ name: 'test', failingSinceMs: 1_000_000 });
  for (const [seconds, tries] of [
    [1, 2],
    [2, 3],
    [4, 4],
    [8, 5],
    [16, 6],
    [32, 7],
    [60, 8],
    [60, 9],
  ] as const) {
    await vi.advanceTimersByTimeAsync(seconds * 1000 - 1);
    expect(sink.tries()).toBe(tries - 1);
    await vi.advanceTimersByTimeAsync(1);
    expect(sink.tries()).toBe(tries);
  }
  sink.feed.offer('2');
  await vi.advanceTimersByTimeAsync(60_000);
  expect(sink.taken).toEqual(['2']);
  expect(sink.feed.state().failingSinceMs).toBeNull();
  expect(sink.said).toEqual(['a checkpoint was not taken; it is tried again', 'checkpoints are taken again']);
});

test('when it stops, what was not taken gets one more try, and no more time than there is', async () => {
  const sink = fed(['refuses', 'takes']);
  sink.feed.offer('1');
  await vi.advanceTimersByTimeAsync(0);
  await sink.feed.stop(2000);
  expect(sink.taken).toEqual(['1']);

  const slow = fed([60_000]);
  slow.feed.offer('1');
  const stopped = slow.feed.stop(2000);
  await vi.advanceTimersByTimeAsync(2000);
  await stopped;
  expect(slow.taken).toEqual([]);
});
