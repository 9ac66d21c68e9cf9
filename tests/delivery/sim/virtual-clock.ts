/** Time that stands still while anything is being worked on, and then jumps to what is waited for next. */
import { setImmediate as turn } from 'node:timers/promises';
import type { LoopClock } from '../../../src/delivery/clock.ts';

interface Timer {
  readonly atMs: number;
  readonly order: number;
  readonly fire: () => void;
}

export interface VirtualClock extends LoopClock {
  after(ms: number): Promise<void>;
  /** Counts as work under way until it settles. */
  busy<T>(work: Promise<T>): Promise<T>;
  /** Advances until it holds. @throws {Error} when it does not within a time */
  runUntil(holds: () => boolean, mostMs: number): Promise<void>;
}

export function createVirtualClock(startMs: number, random: () => number): VirtualClock {
  let nowMs = startMs;
  let order = 0;
  let atWork = 0;
  let timers: Timer[] = [];

  function add(ms: number, fire: () => void): Timer {
    order += 1;
    const timer = { atMs: nowMs + Math.ceil(Math.max(0, ms)), order, fire };
    timers.push(timer);
    return timer;
  }

  /** A turn of the event loop or more in which nothing is being worked on. */
  async function quiet(): Promise<void> {
    for (let still = 0; still < 2; ) {
      await turn();
      still = atWork === 0 ? still + 1 : 0;
    }
  }

  return {
    now: () => nowMs,
    random,
    turn: () => Promise.resolve(),
    // Work takes no time.
    loop: () => ({ busyMs: 0, idleMs: nowMs - startMs }),
    after: (ms) => new Promise((resolve) => add(ms, resolve)),
    pause: (ms, signal) =>
      new Promise((resolve) => {
        const stop = (): void => {
          timers = timers.filter((each) => each !== timer);
          resolve();
        };
        const timer = add(ms, () => {
          signal.removeEventListener('abort', stop);
          resolve();
        });
        signal.addEventListener('abort', stop);
      }),
    busy(work) {
      atWork += 1;
      return work.finally(() => {
        atWork -= 1;
      });
    },
    async runUntil(holds, mostMs) {
      const end = nowMs + mostMs;
      for (;;) {
        await quiet();
        if (holds()) return;
        const [next] = timers.sort((a, b) => a.atMs - b.atMs || a.order - b.order);
        if (next === undefined) throw new Error('nothing is waited for, and it does not hold');
        if (next.atMs > end) throw new Error(`it does not hold after ${mostMs} ms`);
        timers.shift();
        nowMs = Math.max(nowMs, next.atMs);
        next.fire();
      }
    },
  };
}
