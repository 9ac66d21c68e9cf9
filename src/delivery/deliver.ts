/**
 * Claim, send, settle: the only loop that sends, and the only one that sends again.
 *
 * At most one request is under way for each drain and target, in the order of the ledger. After an unknown outcome
 * the delivery waits until the EHR can no longer be acting on it.
 */
import { setTimeout } from 'node:timers/promises';
import type { Delivery, Settlement, Store } from '../store/port.ts';
import { type Backoff, backoffMs } from './backoff.ts';
import { breakerAfter, CLOSED, isTripped } from './breaker.ts';
import { transactionOf } from './bundle.ts';
import { type Verdict, verdictOn, verdictOnFailure } from './classify.ts';

export interface Target {
  readonly name: string;
  /** FHIR base URL, without a slash at the end. */
  readonly baseUrl: string;
  /** How long the EHR may go on working on a request whose answer we did not get, ms. */
  readonly requestCeilingMs: number;
  readonly backoff: Backoff;
  readonly mostAtOnce: number;
}

export interface DeliveryLog {
  warn(fields: object, message: string): void;
}

export interface DeliverOptions {
  readonly store: Store;
  readonly target: Target;
  readonly log: DeliveryLog;
  readonly pollMs: number;
  now(): number;
  random(): number;
}

export interface Deliverer {
  /** Takes no more; resolves when what is under way is settled. */
  stop(): Promise<void>;
}

export function startDelivering(options: DeliverOptions): Deliverer {
  const { store, target } = options;
  const underWay = new Set<Promise<void>>();
  const stopping = new AbortController();
  let breaker = CLOSED;

  /** Sends what is due; false when there was nothing to do. */
  async function round(): Promise<boolean> {
    const now = options.now();
    const most = isTripped(breaker) ? 1 : target.mostAtOnce;
    if (underWay.size >= most || now < breaker.restsUntilMs) return false;
    const claimed = await store.claim(target.name, now, now + target.requestCeilingMs, most - underWay.size);
    for (const delivery of claimed) {
      const sending = deliver(delivery).finally(() => underWay.delete(sending));
      underWay.add(sending);
    }
    return claimed.length > 0;
  }

  async function deliver(delivery: Delivery): Promise<void> {
    const verdict = await send(options, delivery);
    breaker = breakerAfter(breaker, verdict, target.backoff, options.now(), options.random());
    await settle(options, delivery, verdict);
  }

  async function run(): Promise<void> {
    while (!stopping.signal.aborted) {
      const busy = await round().catch((error: unknown) => {
        options.log.warn({ target: target.name, error: String(error) }, 'could not claim deliveries');
        return false;
      });
      if (busy || underWay.size > 0)
        await Promise.race([...underWay, pause(options.pollMs, stopping.signal)]);
      else await pause(options.pollMs, stopping.signal);
    }
    await Promise.all(underWay);
  }

  const running = run();
  return {
    stop() {
      stopping.abort();
      return running;
    },
  };
}

/** Resolves after a time, or at once when stopping. */
function pause(ms: number, signal: AbortSignal): Promise<void> {
  return setTimeout(ms, undefined, { signal }).catch(() => undefined);
}

async function settle(options: DeliverOptions, delivery: Delivery, verdict: Verdict): Promise<void> {
  if (verdict.kind !== 'delivered') {
    const { target, logIndex, attempts } = delivery;
    options.log.warn({ target, log_index: logIndex, attempts, verdict: verdict.kind }, 'not delivered');
  }
  await options.store.settle(delivery, settlementOf(options, delivery, verdict)).catch((error: unknown) => {
    // The claim lapses by itself, and the delivery is sent again.
    options.log.warn({ target: delivery.target, error: String(error) }, 'could not settle a delivery');
  });
}

async function send({ target, now }: DeliverOptions, delivery: Delivery): Promise<Verdict> {
  try {
    const response = await fetch(target.baseUrl, {
      method: 'POST',
      headers: { 'content-type': 'application/fhir+json', accept: 'application/fhir+json' },
      body: transactionOf(delivery.texts),
      redirect: 'error',
      signal: AbortSignal.timeout(target.requestCeilingMs),
    });
    const body = await response.text();
    return verdictOn(response.status, body, response.headers.get('retry-after'), now());
  } catch (error) {
    return verdictOnFailure(error);
  }
}

function settlementOf(
  { target, now, random }: DeliverOptions,
  delivery: Delivery,
  verdict: Verdict,
): Settlement {
  switch (verdict.kind) {
    case 'delivered':
      return { state: 'delivered' };
    case 'refused':
      return { state: 'dead', outcome: verdict.why };
    case 'later': {
      const wait = verdict.afterMs ?? backoffMs(target.backoff, delivery.attempts, random());
      return { state: 'waiting', dueMs: now() + Math.min(wait, target.backoff.capMs), outcome: verdict.why };
    }
    case 'unknown':
      return { state: 'waiting', dueMs: now() + target.requestCeilingMs, outcome: verdict.why };
    default:
      return verdict satisfies never;
  }
}
