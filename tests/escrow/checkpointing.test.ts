/** When checkpoints are made: the time and the number of entries between two of them are what is promised. */
import { generateKeyPairSync } from 'node:crypto';
import { afterEach, beforeEach, expect, test, vi } from 'vitest';
import { readCheckpoint } from '../../src/audit/checkpoint.ts';
import { startCheckpointing } from '../../src/escrow/checkpointing.ts';
import type { Sink } from '../../src/escrow/sinks.ts';
import type { LogTree } from '../../src/store/log-port.ts';
import type { Store } from '../../src/store/port.ts';

const key = generateKeyPairSync('ed25519').privateKey;
const root = Buffer.alloc(32, 1);
let running: ReturnType<typeof startCheckpointing> | undefined;
beforeEach(() => void vi.useFakeTimers());
afterEach(async () => {
  vi.useRealTimers();
  await running?.stop();
});

/** A log of which only the size is known. */
function logOf(initial: number) {
  let [size, failures, listener] = [initial, 0, (_size: number): void => {}];
  let newest: string | undefined;
  const log = {
    size: () => size,
    newestCheckpoint: () => newest,
    watch(given: typeof listener) {
      listener = given;
      return () => {};
    },
  } as Partial<LogTree> as LogTree;
  const store: Pick<Store, 'checkpoint' | 'log'> = {
    log,
    async checkpoint(sign) {
      if (failures > 0) {
        failures -= 1;
        throw new Error('disk full');
      }
      newest = sign({ size, root });
      return newest;
    },
  };
  return {
    store,
    grow(by: number) {
      size += by;
      listener(size);
    },
    fail(times: number) {
      failures = times;
    },
  };
}

function started(log: ReturnType<typeof logOf>) {
  const sizes: number[] = [];
  const said: string[] = [];
  const sink: Sink = {
    name: 'test',
    async take(text) {
      sizes.push(readCheckpoint(text)?.size ?? -1);
    },
  };
  const tell = (_facts: object, message: string) => void said.push(message);
  const { store } = log;
  const logger = { warn: tell, info: tell };
  running = startCheckpointing({
    store,
    origin: 'log.example',
    key,
    sinks: [sink],
    log: logger,
    now: Date.now,
  });
  return { sizes, said };
}

test('one at the start, then one within a second of an entry, and none while nothing is written', async () => {
  const log = logOf(5);
  const { sizes } = started(log);
  await vi.advanceTimersByTimeAsync(0);
  expect(sizes).toEqual([5]);
  log.grow(1);
  await vi.advanceTimersByTimeAsync(400);
  log.grow(2);
  await vi.advanceTimersByTimeAsync(599);
  expect(sizes).toEqual([5]);
  await vi.advanceTimersByTimeAsync(1);
  expect(sizes).toEqual([5, 8]);
  await vi.advanceTimersByTimeAsync(60_000);
  expect(sizes).toEqual([5, 8]);
});

test('at once when a thousand entries have come since the last', async () => {
  const log = logOf(1);
  const { sizes } = started(log);
  await vi.advanceTimersByTimeAsync(0);
  log.grow(999);
  await vi.advanceTimersByTimeAsync(0);
  expect(sizes).toEqual([1]);
  log.grow(1);
  await vi.advanceTimersByTimeAsync(0);
  expect(sizes).toEqual([1, 1001]);
});

test('of an empty log none', async () => {
  const { sizes } = started(logOf(0));
  await vi.advanceTimersByTimeAsync(5000);
  expect(sizes).toEqual([]);
});

test('one that could not be made is tried again each second, and told once', async () => {
  const log = logOf(5);
  log.fail(3);
  const { sizes, said } = started(log);
  await vi.advanceTimersByTimeAsync(2999);
  expect(sizes).toEqual([]);
  await vi.advanceTimersByTimeAsync(1);
  expect(sizes).toEqual([5]);
  expect(said).toEqual(['no checkpoint could be made; it is tried again']);
});
