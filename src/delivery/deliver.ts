/**
 * Claim, send, settle: the only loop that sends, and the only one that sends again.
 *
 * At most one request is under way for each drain and target, in the order of the ledger. After an unknown outcome
 * the delivery waits until the EHR can no longer be acting on it.
 */
import type { Delivery, Settlement, Store } from '../store/port.ts';
import { type Backoff, backoffMs } from './backoff.ts';
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
  let stopped = false;
  let timer: NodeJS.Timeout | undefined;

  async function round(): Promise<void> {
    const free = target.mostAtOnce - underWay.size;
    const now = options.now();
    const claimed = free > 0 ? await store.claim(target.name, now, now + target.requestCeilingMs, free) : [];
    for (const delivery of claimed) {
      const sending = sendAndSettle(options, delivery).finally(() => underWay.delete(sending));
      underWay.add(sending);
    }
    if (claimed.length > 0) await Promise.race(underWay);
    else await pause();
  }

  const pause = () =>
    new Promise<void>((resolve) => {
      timer = setTimeout(resolve, options.pollMs);
    });

  async function run(): Promise<void> {
    while (!stopped) {
      try {
        await round();
      } catch (error) {
        options.log.warn({ target: target.name, error: String(error) }, 'could not claim deliveries');
        await pause();
      }
    }
  }

  const running = run();
  return {
    async stop() {
      stopped = true;
      clearTimeout(timer);
      await Promise.race([running, Promise.resolve()]);
      await Promise.all(underWay);
    },
  };
}

async function sendAndSettle(options: DeliverOptions, delivery: Delivery): Promise<void> {
  const verdict = await send(options, delivery);
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
