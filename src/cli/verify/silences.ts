/** How long the log was silent, since it tells while nothing else is written that it runs. */
import { HEARTBEAT, readHeartbeat } from '../../audit/heartbeat.ts';
import type { LogRow, Said } from '../../audit/log-check.ts';

export interface Silences {
  /** Takes the entries of the log in their order. */
  take(row: LogRow, said: Said): void;
  remarks(): readonly string[];
}

export function createSilences(): Silences {
  let since: number | null = null;
  let longestMs = 0;
  let last = '';
  let [count, longest] = [0, { ms: 0, from: '', to: '' }];

  function lookBack(to: string): void {
    const ms = Date.parse(to) - Date.parse(last);
    if (ms <= longestMs) return;
    count += 1;
    if (ms > longest.ms) longest = { ms, from: last, to };
  }

  return {
    take({ stream, body, log_index }, { recorded_at: at }) {
      if (since !== null) lookBack(at);
      last = at;
      if (stream !== HEARTBEAT || body === null) return;
      since ??= log_index;
      // One interval until it is due, and as much for a machine that is slow.
      longestMs = 2 * readHeartbeat(body).every_s * 1000;
    },
    remarks() {
      if (since === null) return [];
      const times =
        count === 0
          ? 'never silent'
          : `silent ${count} times, longest from ${longest.from} to ${longest.to},`;
      return [
        `from entry ${since} on it tells that it runs: it was ${times} for more than ${longestMs / 1000} s, ` +
          `and its newest entry is of ${last}`,
      ];
    },
  };
}
