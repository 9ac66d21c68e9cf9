/** What the log is told when our own work on a delivery fails: of the step that failed, and nothing of what was sent. */
import { afterEach, beforeEach, expect, it } from 'vitest';
import { steadyClock } from '../../src/delivery/clock.ts';
import { type Deliverer, startDelivering } from '../../src/delivery/deliver.ts';
import type { Store } from '../../src/store/port.ts';
import { incoming, ledgerForEach } from '../store/ledger.ts';
import { placed, setUp } from '../support/drain-script.ts';
import { targetOf } from './target.ts';

const PLACED = placed('08:00', { patient: { reference: 'Patient/p' } });

const ledger = ledgerForEach();
let deliverer: Deliverer | undefined;
beforeEach(async () => {
  for (const told of [PLACED, setUp('08:00', 0)]) await ledger.record([incoming(told, PLACED)]);
});
afterEach(async () => {
  await deliverer?.stop();
});

/** The first error that is logged when a target that takes everything is delivered to from this store. */
function firstError(store: Store): Promise<readonly unknown[]> {
  const clock = { ...steadyClock(), random: () => 0 };
  return new Promise((resolve) => {
    deliverer = startDelivering({
      store,
      target: targetOf({}),
      connection: {
        baseUrl: 'http://127.0.0.1/fhir',
        ask: async () => ({ verdict: { kind: 'taken' }, answer: { status: 200, headers: {}, body: '' } }),
      },
      clock,
      canonical: 'http://example.org/test',
      log: { warn: () => undefined, error: (...said) => resolve(said) },
      pollMs: 5,
    });
  });
}

it.each<[string, Partial<Store>]>([
  [
    'could not attempt a delivery',
    {
      taken: () => {
        throw new RangeError('Patient/p');
      },
    },
  ],
  ['could not settle a delivery', { settle: () => Promise.reject(new RangeError('Patient/p')) }],
])('%s', async (message, failing) => {
  const facts = { target: 'ehr', log_index: 1, error: 'RangeError' };
  expect(await firstError({ ...ledger.store, ...failing })).toEqual([facts, message]);
});
