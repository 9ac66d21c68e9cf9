/**
 * Room for those who chart while what waited is delivered: both need the one thread that writes.
 *
 * While somebody charts, the next deliveries begin when the event loop has had nothing to do for as long as it was at work
 * since the last ones began. So it is free half of the time, however many targets there are: who comes to a single server
 * that is busy for a share b of the time waits in proportion to 1 / (1 - b) (Pollaczek and Khinchine; from memory), which
 * is at most twice as long as if it were never busy.
 *
 * Whatever else keeps the loop at work, two deliveries may begin for each entry that is charted, so that what was charted
 * during an outage takes no longer to be delivered than it took to be charted.
 */
import type { LoopClock } from './clock.ts';

export interface Room {
  /** Whether somebody charts. */
  isWanted(): boolean;
  /** Told of each entry. */
  charted(): void;
  /** Told before deliveries begin, so that what it costs to claim them counts. */
  begin(): void;
  /** Told on how many drains they did, and how many: what waits behind the first of a drain goes with it. */
  began(drains: number, deliveries: number): void;
  /** On so many drains deliveries may begin now; 0 while it rests. */
  drains(): number;
  /** How long until it is worth asking again, ms; more than 0. */
  restMs(): number;
}

/** Somebody charts as long as no more time than this, ms, has gone by since the last entry. */
const CHARTING_MS = 1000;
const DELIVERIES_PER_ENTRY = 2;
/** What is begun together shares what it costs to make its claims durable. */
const FEWEST_DRAINS = 4;
/** Others who keep the loop at work may be done sooner than it looks. */
const LONGEST_REST_MS = 10;

export function createRoom(clock: Pick<LoopClock, 'now' | 'loop'>): Room {
  let chartedMs = Number.NEGATIVE_INFINITY;
  /** Entries since deliveries began last, how many of those there were, and how many a drain. */
  let entries = 0;
  let begun = 0;
  let perDrain = 1;
  let since = clock.loop();

  function missingMs(): number {
    const { busyMs, idleMs } = clock.loop();
    return busyMs - since.busyMs - (idleMs - since.idleMs);
  }

  const isWanted = (): boolean => clock.now() - chartedMs <= CHARTING_MS;

  return {
    isWanted,
    charted() {
      chartedMs = clock.now();
      entries += 1;
    },
    begin() {
      entries = 0;
      begun = 0;
      since = clock.loop();
    },
    began(drains, deliveries) {
      begun = deliveries;
      perDrain = drains === 0 ? 1 : deliveries / drains;
    },
    drains() {
      if (!isWanted()) return Number.POSITIVE_INFINITY;
      const owed = entries * DELIVERIES_PER_ENTRY;
      // No more than is owed: each Bundle takes a turn of the loop, and an entry takes several turns beside them.
      if (owed > 0 && owed >= begun) return Math.max(FEWEST_DRAINS, Math.ceil(owed / perDrain));
      return missingMs() <= 0 ? FEWEST_DRAINS : 0;
    },
    restMs: () => Math.min(Math.max(1, missingMs()), LONGEST_REST_MS),
  };
}
