/** Writes that the log runs whenever nothing else was written for a while. */
import { HEARTBEAT_EVERY_S, writeHeartbeat } from '../audit/heartbeat.ts';
import type { Store } from '../store/port.ts';
import type { FeedLog } from './sinks.ts';

export interface HeartbeatOptions {
  readonly store: Pick<Store, 'heartbeat' | 'log'>;
  readonly log: FeedLog;
  now(): number;
}

export interface Heartbeats {
  stop(): void;
}

export function startHeartbeats({ store, log, now }: HeartbeatOptions): Heartbeats {
  const body = writeHeartbeat({
    every_s: HEARTBEAT_EVERY_S,
    running_since: new Date(now()).toISOString(),
  });
  let failing = false;

  async function beat(): Promise<void> {
    try {
      await store.heartbeat(body);
      failing = false;
    } catch (error) {
      if (!failing)
        log.warn({ error: String(error) }, 'that the log runs could not be written; it is tried again');
      failing = true;
      quiet.refresh();
    }
  }

  // On the path of every entry: to set the timer back is all that one costs.
  const quiet = setTimeout(beat, HEARTBEAT_EVERY_S * 1000);
  const unwatch = store.log.watch(() => void quiet.refresh());
  return {
    stop() {
      unwatch();
      clearTimeout(quiet);
    },
  };
}
