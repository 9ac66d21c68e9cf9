/** Delivery to all targets, and what can be asked of it while it runs. */
import type { JWK } from 'jose';
import type { ByWhom } from '../store/delivery-port.ts';
import type { Store } from '../store/port.ts';
import { publicKeys } from './auth/keys.ts';
import { isTripped } from './breaker.ts';
import type { Verdict } from './classify.ts';
import type { LoopClock } from './clock.ts';
import { type Deliverer, type DeliveryLog, startDelivering } from './deliver.ts';
import { openTarget } from './open-target.ts';
import type { ConfiguredTarget } from './target.ts';

export interface TargetStatus {
  readonly target: string;
  readonly state: 'working' | 'resting' | 'parked';
  /** Attempts in a row that the target did not handle. */
  readonly failures: number;
  /** Nothing is sent before this time, ms since the epoch; null where nothing stands in the way. */
  readonly restsUntilMs: number | null;
  /** Requests by what came of them, since the process started. */
  readonly requests: Readonly<Record<string, number>>;
}

export interface Deliverers {
  status(): readonly TargetStatus[];
  /** @returns false where there is no such target */
  resume(target: string, by: ByWhom): Promise<boolean>;
  /** Public keys that our assertions are signed with. */
  jwks(): Promise<{ readonly keys: readonly JWK[] }>;
  /** Settles what is under way. */
  stop(): Promise<void>;
}

export interface DeliverersOptions {
  readonly store: Store;
  readonly targets: readonly ConfiguredTarget[];
  readonly canonical: string;
  readonly log: DeliveryLog;
  readonly clock: LoopClock;
  readonly env: Readonly<Record<string, string | undefined>>;
}

const POLL_MS = 100;

interface Running {
  readonly name: string;
  readonly deliverer: Deliverer;
  readonly requests: Readonly<Record<Verdict['kind'], number>>;
  close(): void;
}

/** Of each kind from the start, so that no figure comes and goes. */
const NONE_YET: Readonly<Record<Verdict['kind'], number>> = {
  taken: 0,
  accepted: 0,
  refused: 0,
  conflict: 0,
  gone: 0,
  duplicate: 0,
  'multiple-matches': 0,
  unauthorized: 0,
  forbidden: 0,
  later: 0,
  unknown: 0,
};

export function startAll(options: DeliverersOptions): Deliverers {
  const { targets, clock } = options;
  const running = targets.map((each) => start(each, options));
  const keyFiles = targets.flatMap(({ auth }) =>
    auth.type === 'smart' ? [auth.keyFile, ...auth.otherKeyFiles] : [],
  );
  return {
    status: () => running.map((each) => statusOf(each, clock.now())),
    async resume(target, by) {
      const found = running.find(({ name }) => name === target);
      await found?.deliverer.resume(by);
      return found !== undefined;
    },
    jwks: () => publicKeys(keyFiles),
    async stop() {
      await Promise.all(running.map(({ deliverer }) => deliverer.stop()));
      for (const { close } of running) close();
    },
  };
}

function start(
  configured: ConfiguredTarget,
  { store, canonical, log, clock, env }: DeliverersOptions,
): Running {
  const { target } = configured;
  const requests = { ...NONE_YET };
  const { connection, close } = openTarget(configured, {
    env,
    now: clock.now,
    onVerdict(kind) {
      requests[kind] += 1;
    },
    onScope: (granted) =>
      log.warn({ target: target.name, granted }, 'the target grants other scopes than were asked for'),
  });
  const deliverer = startDelivering({ store, target, connection, clock, canonical, log, pollMs: POLL_MS });
  return { name: target.name, deliverer, requests, close };
}

function statusOf({ name, deliverer: { breaker }, requests }: Running, nowMs: number): TargetStatus {
  return {
    target: name,
    state: breaker.isParked ? 'parked' : isTripped(breaker) ? 'resting' : 'working',
    failures: breaker.failures,
    restsUntilMs: breaker.restsUntilMs > nowMs ? breaker.restsUntilMs : null,
    requests,
  };
}
