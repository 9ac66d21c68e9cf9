/** A deliverer on a real ledger and real HTTP, for tests. */
import { noAuthorizer } from '../../src/delivery/auth/authorizer.ts';
import { steadyClock } from '../../src/delivery/clock.ts';
import { connectTo } from '../../src/delivery/connection.ts';
import { type Deliverer, startDelivering } from '../../src/delivery/deliver.ts';
import { createHttp } from '../../src/delivery/http.ts';
import type { Target } from '../../src/delivery/target.ts';
import type { Store } from '../../src/store/port.ts';
import { targetOf } from './target.ts';

/** @param ceilingMs how long an answer may take, too, so that it is generous where nothing waits for it */
export function deliverTo(
  store: Store,
  baseUrl: string,
  more: Partial<Target> = {},
  ceilingMs = 10_000,
): Deliverer {
  const target = targetOf({
    baseUrl,
    timeoutMs: ceilingMs,
    requestCeilingMs: ceilingMs,
    backoff: { baseMs: 5, capMs: 50 },
    mostAtOnce: 4,
    ...more,
  });
  const clock = steadyClock();
  return startDelivering({
    store,
    target,
    connection: connectTo({
      baseUrl,
      http: createHttp({ timeoutMs: target.timeoutMs, tls: null }).send,
      authorizer: noAuthorizer,
      now: clock.now,
      onVerdict: () => undefined,
    }),
    clock,
    canonical: 'http://example.org/test',
    log: { warn: () => undefined, error: () => undefined },
    pollMs: 5,
  });
}

const OPEN = ['waiting', 'sending', 'unknown', 'requeued'];

/** By state, once nothing is under way any more. @throws {Error} when that does not come within 20 s */
export async function untilIdle(store: Store): Promise<Record<string, number>> {
  const end = Date.now() + 20_000;
  while (Date.now() < end) {
    const counts = Object.fromEntries(store.deliveryCounts().map(({ state, count }) => [state, count]));
    if (OPEN.every((state) => counts[state] === undefined)) return counts;
    await new Promise((resolve) => setTimeout(resolve, 10));
  }
  throw new Error(`delivery did not come to rest: ${JSON.stringify(store.deliveries({}, null, 9))}`);
}
