/** How fast entries reach an EHR beside a bare HTTP client. */
import { setTimeout as pause } from 'node:timers/promises';
import { noAuthorizer } from '../delivery/auth/authorizer.ts';
import { steadyClock } from '../delivery/clock.ts';
import { connectTo } from '../delivery/connection.ts';
import { startDelivering } from '../delivery/deliver.ts';
import { createHttp } from '../delivery/http.ts';
import { resourceOf } from '../delivery/resource.ts';
import { bundleOf } from '../delivery/send-bundle.ts';
import { createRecord } from '../record/record.ts';
import type { Store } from '../store/port.ts';
import { targetAt } from '../targets.ts';
import { incoming, placeDrain } from './cost-per-entry.ts';
import { processorTimeFromNow } from './measure.ts';
import { reading } from './messages.ts';
import { startScript } from './process.ts';
import { openBenchStore } from './store.ts';

const AT_ONCE = 32;
const DRAINS = 50;
const READINGS = 60;
const CANONICAL = 'http://example.org/drainledger';

/** Readings of many drains that wait, then all of them sent, by transactions; and the same Bundles by a bare client. */
export async function deliveryRate(file: string): Promise<object> {
  const { store, record } = openBenchStore(file, createRecord);
  const ehr = await startScript('instant-ehr.js', []);
  try {
    for (let drain = 0; drain < DRAINS; drain += 1) {
      const name = await placeDrain(record, 'delivery', drain);
      for (let n = 1; n <= READINGS; n += 1)
        await record([incoming(name, reading('delivery', drain, name, n))]);
    }
    const deliveries = DRAINS * (READINGS + 1);
    const bundles = await bundlesIn(store);
    await bareClient(ehr.url, bundles, 500);
    const bare = await bareClient(ehr.url, bundles, deliveries);
    const ours = await sendAll(store, ehr.url, deliveries);
    return {
      'delivered /s': Math.round(ours.perSecond),
      'bare client /s': Math.round(bare.perSecond),
      ratio: Number((ours.perSecond / bare.perSecond).toFixed(2)),
      'cpu µs': Math.round(ours.cpuUs),
      'bare client cpu µs': Math.round(bare.cpuUs),
    };
  } finally {
    await ehr.stop();
    await store.close();
  }
}

interface Rate {
  readonly perSecond: number;
  /** Processor time of this process for each, µs. */
  readonly cpuUs: number;
}

/** Of so many, from now until it is asked. */
function rateFromNow(count: number): () => Rate {
  const [start, costUs] = [performance.now(), processorTimeFromNow()];
  return () => ({ perSecond: (count * 1000) / (performance.now() - start), cpuUs: costUs() / count });
}

/** A few hundred Bundles as they will be sent, to be sent round and round. */
async function bundlesIn(store: Store): Promise<readonly string[]> {
  const far = Date.now() + 3_600_000;
  const claimed = await store.claim('ehr', Date.now(), 0, 500, []);
  const bundles = claimed.map(({ texts }) =>
    bundleOf(
      'transaction',
      texts.map((text) => ({ resource: resourceOf(text), text, known: undefined, uncertain: false })),
    ),
  );
  await store.rebaseWaits('ehr', 0, far);
  return bundles;
}

async function bareClient(url: string, bundles: readonly string[], count: number): Promise<Rate> {
  const { send, close } = createHttp({ timeoutMs: 10_000, tls: null });
  const headers = { 'content-type': 'application/fhir+json' };
  let left = count;
  const rate = rateFromNow(count);
  const worker = async (): Promise<void> => {
    while (left > 0) {
      left -= 1;
      await send({ method: 'POST', url, headers, body: bundles[left % bundles.length] ?? '' });
    }
  };
  await Promise.all(Array.from({ length: AT_ONCE }, worker));
  close();
  return rate();
}

async function sendAll(store: Store, url: string, count: number): Promise<Rate> {
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
  // What was claimed to look at it lapses first.
  await pause(1100);
  const rate = rateFromNow(count);
  const deliverer = startDelivering({
    store,
    target: { ...target, mode: 'transaction', mostAtOnce: AT_ONCE },
    connection,
    clock,
    canonical: CANONICAL,
    log: { warn: (facts) => console.error(facts), error: (facts) => console.error(facts) },
    pollMs: 100,
  });
  const ended = (kind: 'delivered' | 'refused'): number => deliverer.ends.get(kind) ?? 0;
  while (ended('delivered') < count && ended('refused') === 0) await pause(5);
  const measured = rate();
  await deliverer.stop();
  http.close();
  if (ended('refused') > 0) throw new Error(`${ended('refused')} refused; the figures would mean nothing`);
  return measured;
}
