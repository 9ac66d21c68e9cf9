/** Time that a step of the wall clock cannot change, so that no wait is cut short or becomes endless. */
import { setTimeout } from 'node:timers/promises';

export interface Clock {
  /** ms since the epoch, as the wall clock stood when the process started, running on evenly since. */
  now(): number;
  /** Resolves after a time, or at once when stopping. */
  pause(ms: number, signal: AbortSignal): Promise<void>;
  /** In [0, 1). */
  random(): number;
}

export function steadyClock(): Clock {
  const start = Date.now() - performance.now();
  return {
    now: () => Math.round(start + performance.now()),
    pause: (ms, signal) => setTimeout(ms, undefined, { signal }).catch(() => undefined),
    random: Math.random,
  };
}
