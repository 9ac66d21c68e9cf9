/**
 * Claim, send, settle: the only loop that sends, and the only one that sends again.
 *
 * At most one request is under way for each drain and target, in the order of the ledger. After an unknown outcome
 * the delivery waits until the target can no longer be acting on it. What waits behind it may go with it. While somebody
 * charts, it leaves room.
 */
import type { ByWhom, Claimed, Delivery, Settled, Settlement } from '../store/delivery-port.ts';
import type { Means } from './awaited.ts';
import { type Breaker, breakerAfter, CLOSED, isTripped } from './breaker.ts';
import type { LoopClock } from './clock.ts';
import type { Attempted, End } from './end.ts';
import { createForbidding } from './forbidding.ts';
import { createRoom } from './room.ts';
import { claimMs, createSender } from './send.ts';
import { settlementOf } from './settle.ts';

export interface DeliveryLog {
  warn(fields: object, message: string): void;
  error(fields: object, message: string): void;
}

export interface DeliverOptions extends Means {
  readonly clock: LoopClock;
  readonly log: DeliveryLog;
  readonly pollMs: number;
}

export interface Deliverer {
  readonly breaker: Breaker;
  /** Attempts by how they ended. */
  readonly ends: ReadonlyMap<End['kind'], number>;
  /** Tries a target that rests or is parked at once, and asks anew what it can do. */
  resume(by: ByWhom): Promise<void>;
  /** Takes no more; resolves when what is under way is settled. */
  stop(): Promise<void>;
}

export function startDelivering(options: DeliverOptions): Deliverer {
  const { store, target, clock, log } = options;
  const sender = createSender(options);
  const sending = new Map<string, Promise<void>>();
  const settling = new Map<string, Promise<void>>();
  const ends = new Map<End['kind'], number>();
  const stopping = new AbortController();
  const room = createRoom(clock);
  const forbidding = createForbidding();
  const stopListening = store.listen(room.charted);
  let breaker = CLOSED;
  let isRebased = false;
  let wake = (): void => undefined;

  /** Sends what is due; false when there was nothing to do. */
  async function round(): Promise<boolean> {
    const now = clock.now();
    if (!isRebased) {
      const longestMs = Math.max(target.backoff.capMs, claimMs(target));
      await store.rebaseWaits(target.name, now + target.requestCeilingMs, now + longestMs);
      isRebased = true;
    }
    const most = isTripped(breaker) ? 1 : target.mostAtOnce;
    if (sending.size >= most || now < breaker.restsUntilMs) return false;
    const drains = Math.min(most - sending.size, room.drains());
    if (drains === 0) return false;
    const lapsesMs = now + claimMs(target);
    const busy = [...sending.keys()];
    room.begin();
    const claimed = await store.claim(target.name, now, lapsesMs, drains, busy, sender.startBundle());
    room.began(
      claimed.length,
      claimed.reduce((sum, { behind }) => sum + 1 + behind.length, 0),
    );
    for (const each of claimed) {
      keepUntilDone(sending, each.drain, attempt(each, lapsesMs));
      // To write one Bundle takes long enough: what is charted meanwhile need not wait for all of them. Where nobody charts
      // they go at once, so that their settlements share a commit.
      if (room.isWanted()) await clock.turn();
    }
    return claimed.length > 0;
  }

  async function attempt(claimed: Claimed, lapsesMs: number): Promise<void> {
    const { drain, logIndex, behind } = claimed;
    const attempting =
      behind.length === 0
        ? sender.attempt(claimed, lapsesMs).then((attempted) => [attempted])
        : sender.attemptShared(claimed, lapsesMs);
    const attempts = await attempting.catch((error: unknown) => {
      tellFailure(options, claimed, error, 'could not attempt a delivery');
      return null;
    });
    // Settled beside the next claim, so that both share what it costs to make them durable.
    if (attempts !== null) keepUntilDone(settling, `${drain} ${logIndex}`, settle(claimed, attempts));
  }

  /** @param attempts of each; where they came to nothing, of all in the same way */
  async function settle(claimed: Claimed, attempts: readonly Attempted[]): Promise<void> {
    const deliveries = [claimed, ...claimed.behind];
    const weighed = attempts.map(({ end, taken }) => ({ end: forbidding.weigh(claimed, end), taken }));
    const settled = weighed.flatMap((attempted, n): readonly Settled[] => {
      const { end } = attempted;
      ends.set(end.kind, (ends.get(end.kind) ?? 0) + 1);
      const delivery = deliveries[n] ?? claimed;
      const settlement = settlementOf(target, delivery, attempted, clock.now(), clock.random());
      if (n === 0) tell(options, delivery, end, settlement);
      return settlement === null ? [] : [{ delivery, settlement }];
    });
    const [first] = weighed;
    await Promise.all([store.settle(settled, clock.now()), first && judge(first.end)]).catch(
      (error: unknown) => tellFailure(options, claimed, error, 'could not settle a delivery'),
    );
  }

  function keepUntilDone(all: Map<string, Promise<void>>, key: string, work: Promise<void>): void {
    const kept = work.finally(() => {
      if (all.get(key) === kept) all.delete(key);
      wake();
    });
    all.set(key, kept);
  }

  async function judge(end: End): Promise<void> {
    const before = breaker;
    breaker = breakerAfter(breaker, end, target.backoff, clock.now(), clock.random());
    const outcome = 'outcome' in end ? end.outcome : null;
    if (breaker.isParked && !before.isParked) {
      log.error(
        { target: target.name },
        'target parked: it forbids what is sent; mend scope or policy there, then resume it',
      );
      await store.noteTarget(target.name, 'parked', clock.now(), outcome, null);
    } else if (isTripped(breaker) !== isTripped(before)) {
      await store.noteTarget(
        target.name,
        isTripped(breaker) ? 'tripped' : 'closed',
        clock.now(),
        outcome,
        null,
      );
    }
  }

  async function run(): Promise<void> {
    const pause = (ms: number) => clock.pause(ms, stopping.signal);
    const [tick, rest] = [oneAtATime(pause), oneAtATime(pause)];
    while (!stopping.signal.aborted) {
      // Before the round, so that what ends meanwhile is not missed.
      const woken = new Promise<void>((resolve) => {
        wake = resolve;
      });
      const busy = await round().catch((error: unknown) => {
        log.warn({ target: target.name, error: nameOf(error) }, 'could not claim deliveries');
        return false;
      });
      if (busy) continue;
      const rests = room.drains() === 0 ? [rest(room.restMs())] : [];
      await Promise.race([woken, tick(options.pollMs), ...rests]);
    }
    stopListening();
    await Promise.all(sending.values());
    await Promise.all(settling.values());
  }

  const running = run();
  return {
    get breaker() {
      return breaker;
    },
    ends,
    async resume(by) {
      breaker = CLOSED;
      sender.forget();
      await store.noteTarget(target.name, 'resumed', clock.now(), null, by);
    },
    stop() {
      stopping.abort();
      return running;
    },
  };
}

/** A pause that is asked for while one lasts is that one. */
function oneAtATime(pause: (ms: number) => Promise<void>): (ms: number) => Promise<void> {
  let underWay: Promise<void> | null = null;
  return (ms) => {
    underWay ??= pause(ms).finally(() => {
      underWay = null;
    });
    return underWay;
  };
}

/** Without what the target said, which may quote what was sent. */
function tell(
  { log }: DeliverOptions,
  { target, logIndex, attempts }: Delivery,
  end: End,
  settlement: Settlement | null,
): void {
  if (settlement?.state === 'delivered' || settlement?.state === 'accepted') return;
  const status = 'outcome' in end ? end.outcome.status : undefined;
  const facts = { target, log_index: logIndex, attempts, end: end.kind, status };
  if (settlement?.state === 'dead' || end.kind === 'unauthorized')
    log.error(facts, 'not delivered: a person must look');
  else log.warn(facts, 'not delivered yet');
}

/** The claim lapses by itself, and the delivery is looked for and sent again. */
function tellFailure(
  { log }: DeliverOptions,
  { target, logIndex }: Delivery,
  error: unknown,
  message: string,
): void {
  log.error({ target, log_index: logIndex, error: nameOf(error) }, message);
}

const nameOf = (error: unknown): string => (error instanceof Error ? error.name : 'unknown');
