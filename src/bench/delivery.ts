/** How fast entries reach an EHR beside a bare HTTP client. */
import { setTimeout as pause } from 'node:timers/promises';
import { targetAt } from '../configuration/targets.ts';
import { noAuthorizer } from '../delivery/auth/authorizer.ts';
import { steadyClock } from '../delivery/clock.ts';
import { connectTo } from '../delivery/connection.ts';
import { type Deliverer, startDelivering } from '../delivery/deliver.ts';
import { createHttp } from '../delivery/http.ts';
import { resourceOf } from '../delivery/resource.ts';
import { bundleOf } from '../delivery/send-bundle.ts';
import { createRecord } from '../record/record.ts';
import type { Store } from '../store/port.ts';
import { incoming, placeDrain } from './cost-per-entry.ts';
import { processorTimeFromNow } from './measure.ts';
import { reading } from './messages.ts';
import { startScript } from './process.ts';
import { openBenchStore } from './store.ts';

const AT_ONCE = 32;
const DRAINS = 50;
const READINGS = 80;
const CANONICAL = 'http://example.org/drainledger';

/**
 * Readings of many drains that wait. A bare client sends the first of them, a Bundle an entry; then we send the rest by
 * transactions: some a Bundle an entry, as on a quiet day, and those that are left as a backlog goes.
 */
export async function deliveryRate(file: string): Promise<readonly object[]> {
  const { store, record } = openBenchStore(file, createRecord);
  const ehr = await startScript('instant-ehr.js', []);
  try {
    for (let drain = 0; drain < DRAINS; drain += 1) {
      const name = await placeDrain(record, 'delivery', drain);
      for (let n = 1; n <= READINGS; n += 1)
        await record([incoming(name, reading('delivery', drain, name, n))]);
    }
    const bundles = await takeBundles(store);
    const left = store.backlog('ehr').depth;
    await bareClient(ehr.url, bundles, 500);
    const bare = await bareClient(ehr.url, bundles, left / 2);
    const alone = await sendUntil(store, ehr.url, 1, left / 2);
    const shared = await sendUntil(store, ehr.url, undefined, store.backlog('ehr').depth);
    return [beside(bare, 'an entry a Bundle', alone), beside(bare, 'as a backlog goes', shared)];
  } finally {
    await ehr.stop();
    await store.close();
  }
}

const beside = (bare: Rate, way: string, ours: Rate): object => ({
  way,
  'delivered /s': Math.round(ours.perSecond),
  'bare client /s': Math.round(bare.perSecond),
  ratio: Number((ours.perSecond / bare.perSecond).toFixed(2)),
  'cpu µs': Math.round(ours.cpuUs),
  'bare client cpu µs': Math.round(bare.cpuUs),
  'cpu ratio': Number((bare.cpuUs / ours.cpuUs).toFixed(2)),
});

interface Rate {
  readonly perSecond: number;
  /** Processor time of this process for each, µs. */
  readonly cpuUs: number;
}

/** Of so many, from its start until now. */
const rateOf = (count: number, startMs: number, costUs: number): Rate => ({
  perSecond: (count * 1000) / (performance.now() - startMs),
  cpuUs: costUs / count,
});

/** The first Bundles that wait, as they would be sent; nothing waits for them any more. */
async function takeBundles(store: Store): Promise<readonly string[]> {
  const now = Date.now();
  const claimed = await store.claim('ehr', now, now + 60_000, DRAINS, [], () => () => true);
  const settlement = { state: 'delivered', outcome: null, taken: [] } as const;
  const deliveries = claimed.map((first) => [first, ...first.behind]);
  for (const each of deliveries)
    await store.settle(
      each.map((delivery) => ({ delivery, settlement })),
      now,
    );
  return deliveries.flat().map(({ issued }) =>
    bundleOf(
      'transaction',
      issued
        .map(resourceOf)
        .map((resource) => ({ resource, text: resource.text, known: undefined, uncertain: false })),
    ),
  );
}

async function bareClient(url: string, bundles: readonly string[], count: number): Promise<Rate> {
  const { send, close } = createHttp({ timeoutMs: 10_000, tls: null });
  const headers = { 'content-type': 'application/fhir+json' };
  let left = count;
  const [start, costUs] = [performance.now(), processorTimeFromNow()];
  const worker = async (): Promise<void> => {
    while (left > 0) {
      left -= 1;
      await send({ method: 'POST', url, headers, body: bundles[left % bundles.length] ?? '' });
    }
  };
  await Promise.all(Array.from({ length: AT_ONCE }, worker));
  close();
  return rateOf(count, start, costUs());
}

/** @param most resources in a Bundle; as the service has it where none is said */
async function sendUntil(store: Store, url: string, most: number | undefined, count: number): Promise<Rate> {
  const { target } = targetAt(url, 1);
  const http = createHttp({ timeoutMs: 10_000, tls: null });
  const clock = steadyClock();
  const connection = connectTo({
    baseUrl: url,
    http: http.send,
    authorizer: noAuthorizer,
    now: clock.now,
    onVerdict: () => undefined,
  });
  const [start, costUs] = [performance.now(), processorTimeFromNow()];
  const deliverer = startDelivering({
    store,
    target: {
      ...target,
      mode: 'transaction',
      mostAtOnce: AT_ONCE,
      mostInBundle: most ?? target.mostInBundle,
    },
    connection,
    clock,
    canonical: CANONICAL,
    log: { warn: (facts) => console.error(facts), error: (facts) => console.error(facts) },
    pollMs: 100,
  });
  const delivered = (): number => deliverer.ends.get('delivered') ?? 0;
  while (delivered() < count && delivered() === handled(deliverer)) await pause(5);
  await deliverer.stop();
  const rate = rateOf(delivered(), start, costUs());
  http.close();
  if (delivered() !== handled(deliverer))
    throw new Error('not all were delivered; the figures would mean nothing');
  return rate;
}

const handled = ({ ends }: Deliverer): number => [...ends.values()].reduce((sum, count) => sum + count, 0);
