/** Time that a step of the wall clock cannot change, so that no wait is cut short or becomes endless. */
import { performance } from 'node:perf_hooks';
import { setImmediate, setTimeout } from 'node:timers/promises';

export interface Clock {
  /** ms since the epoch, as the wall clock stood when the process started, running on evenly since. */
  now(): number;
  /** Resolves after a time, or at once when stopping. */
  pause(ms: number, signal: AbortSignal): Promise<void>;
  /** In [0, 1). */
  random(): number;
}

/** The event loop of this thread too, which delivery shares with those who chart. */
export interface LoopClock extends Clock {
  /** Resolves when all else that is ready has had its turn of the event loop. */
  turn(): Promise<void>;
  /** How it has spent its time so far. */
  loop(): LoopTime;
}

export interface LoopTime {
  readonly busyMs: number;
  /** It waited, with nothing to do. */
  readonly idleMs: number;
}

export function steadyClock(): LoopClock {
  const start = Date.now() - performance.now();
  return {
    now: () => Math.round(start + performance.now()),
    pause: (ms, signal) => setTimeout(ms, undefined, { signal }).catch(() => undefined),
    random: Math.random,
    turn: () => setImmediate(),
    loop() {
      const { active, idle } = performance.eventLoopUtilization();
      return { busyMs: active, idleMs: idle };
    },
  };
}
