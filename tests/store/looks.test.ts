/** What a target accepted for later: when its drain goes to look for it, and in what order with the rest. */
import { expect, it } from 'vitest';
import type { Delivery, Fate } from '../../src/store/delivery-port.ts';
import { level, placed, setUp } from '../support/drain-script.ts';
import { incoming, ledgerForEach } from './ledger.ts';

const PLACED = placed('08:00', { patient: { reference: 'Patient/p' } });
const NOW = 2_000_000_000_000;
const BY = { author: { type: 'person', reference: 'Practitioner/n1' }, reason: 'x', client: 'c' } as const;
const DELIVERED: Fate = { state: 'delivered', outcome: null };
const accepted = (dueMs: number | null, times = 1): Fate => ({
  ...{ state: 'accepted', outcome: { why: 'HTTP 202' } },
  ...{ accepted: times, dueMs },
});

const ledger = ledgerForEach();

async function claimed(now: number): Promise<Delivery> {
  const [delivery] = await ledger.store.claim('ehr', now, now + 500, 1, []);
  if (delivery === undefined) throw new Error('nothing is due');
  return delivery;
}
async function settleNext(fate: Fate, now = NOW): Promise<string> {
  const delivery = await claimed(now);
  await ledger.store.settle([{ delivery, settlement: { ...fate, taken: [] } }], now);
  return `${delivery.logIndex} ${delivery.redo}`;
}
const told = async () => {
  for (const each of [PLACED, setUp('08:00', 0), level('a', '09:00', 60), level('b', '10:00', 130)])
    await ledger.record([incoming(each, PLACED)]);
};

it('an idle drain goes to look when it is time, and not before', async () => {
  await told();
  expect(await settleNext(accepted(NOW + 100))).toBe('1 null');
  expect(await settleNext(DELIVERED)).toBe('2 null');
  expect(await settleNext(DELIVERED)).toBe('3 null');
  expect(await ledger.store.claim('ehr', NOW + 99, NOW + 500, 9, [])).toEqual([]);
  expect(await settleNext(accepted(NOW + 300), NOW + 100)).toBe('1 look');
  expect(await settleNext(DELIVERED, NOW + 300)).toBe('1 look');
  expect(ledger.store.deliveryCounts()).toEqual([{ target: 'ehr', state: 'idle', count: 1 }]);
});

it('a drain with more to send looks between two deliveries, and goes on where it was', async () => {
  await told();
  await settleNext(accepted(NOW));
  expect(await settleNext(DELIVERED)).toBe('1 look');
  expect(await settleNext(accepted(null))).toBe('2 null');
  expect(await settleNext(DELIVERED)).toBe('3 null');
  expect(ledger.store.deliveries({}, null, 9)).toMatchObject([
    { logIndex: 2, state: 'accepted', dueMs: null },
  ]);
});

it('what is looked for and was lost comes again at once, knowing how often it was accepted', async () => {
  await told();
  await settleNext(accepted(NOW));
  expect(await settleNext({ state: 'requeued', outcome: { why: 'lost' } })).toBe('1 look');
  expect(await claimed(NOW)).toMatchObject({ logIndex: 1, redo: 'requeue', accepted: 1 });
});

it('a person who asks for it again starts its count anew', async () => {
  await told();
  await settleNext(accepted(null, 2));
  await settleNext(DELIVERED);
  expect(await ledger.store.requeue({ target: 'ehr', logIndex: 1 }, BY, NOW)).toBe(1);
  await settleNext(DELIVERED);
  expect(await claimed(NOW)).toMatchObject({ logIndex: 1, redo: 'requeue', accepted: 0 });
});

it('is not put off by a clock that another process had: no look is later than the longest wait', async () => {
  await told();
  await settleNext(accepted(NOW + 9_000_000));
  await ledger.store.rebaseWaits('ehr', NOW + 1000, NOW + 5000);
  expect(ledger.store.deliveries({ state: 'accepted' }, null, 9)).toMatchObject([{ dueMs: NOW + 5000 }]);
});
