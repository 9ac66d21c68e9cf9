/** What is claimed to share a Bundle: how far it reaches, and what is known of it when nobody was left to settle it. */
import { beforeEach, expect, it } from 'vitest';
import type { Claimed, Fate, StartBundle } from '../../src/store/delivery-port.ts';
import { level, placed, setUp } from '../support/drain-script.ts';
import { incoming, ledgerForEach } from './ledger.ts';

const PLACED = placed('08:00', { patient: { reference: 'Patient/p' } });
const NOW = 2_000_000_000_000;
const BY = { author: { type: 'person', reference: 'Practitioner/n1' }, reason: 'x', client: 'c' } as const;
const DELIVERED: Fate = { state: 'delivered', outcome: null };
const LOST: Fate = { state: 'unknown', dueMs: NOW + 100, outcome: { why: 'no answer' } };
const REFUSED: Fate = { state: 'waiting', dueMs: NOW, outcome: { why: 'HTTP 422' } };

/** A Bundle of so many issues. */
const upTo =
  (most: number): StartBundle =>
  () => {
    let count = 0;
    return () => {
      count += 1;
      return count <= most;
    };
  };

const ledger = ledgerForEach();
beforeEach(async () => {
  const levels = [1, 2, 3, 4].map((n) => level(`r${n}`, `${String(8 + n).padStart(2, '0')}:00`, n * 60));
  for (const each of [PLACED, setUp('08:00', 0), ...levels]) await ledger.record([incoming(each, PLACED)]);
});

async function claimed(now = NOW, most = 3): Promise<Claimed> {
  const [claim] = await ledger.store.claim('ehr', now, now + 500, 1, [], upTo(most));
  if (claim === undefined) throw new Error('nothing is due');
  return claim;
}
const settle = (claim: Claimed, fate: Fate, now = NOW) =>
  ledger.store.settle(
    [claim, ...claim.behind].map((delivery) => ({ delivery, settlement: { ...fate, taken: [] } })),
    now,
  );
const placesOf = (claim: Claimed) => [claim, ...claim.behind].map(({ logIndex }) => logIndex);

it('reaches as far as the Bundle takes it, and the drain goes on behind it', async () => {
  const first = await claimed();
  expect(placesOf(first)).toEqual([1, 2, 3]);
  expect(ledger.store.backlog('ehr').depth).toBe(5);
  await settle(first, DELIVERED);
  expect(ledger.store.backlog('ehr').depth).toBe(2);
  const second = await claimed();
  expect(placesOf(second)).toEqual([4, 5]);
  await settle(second, DELIVERED);
  expect(ledger.store.deliveryCounts()).toEqual([{ target: 'ehr', state: 'idle', count: 1 }]);
});

it('goes on behind it after it came to rest, and not among it', async () => {
  await settle(await claimed(NOW, 9), DELIVERED);
  await ledger.record([incoming(level('late', '14:00', 300), PLACED)]);
  const newest = ledger.db.prepare('SELECT max(log_index) FROM issued').pluck().get();
  expect(placesOf(await claimed(NOW, 9))).toEqual([newest]);
});

it('killed while it was under way, each is claimed alone and as uncertain, and what is behind it is neither', async () => {
  const before = await claimed();
  const later = NOW + 500;
  for (const place of [1, 2, 3]) {
    const again = await claimed(later);
    expect(placesOf(again)).toEqual([place]);
    expect(again).toMatchObject({ uncertain: true, attempts: 2 });
    await settle(again, DELIVERED, later);
  }
  const next = await claimed(later);
  expect(next).toMatchObject({ uncertain: false, attempts: 1 });
  expect(placesOf(next)).toEqual([4, 5]);
  // Whoever was thought dead settles too late, and changes nothing.
  await settle(before, DELIVERED, later);
  expect(ledger.store.deliveries({}, null, 9)).toMatchObject([{ logIndex: 4, state: 'sending' }]);
});

it('after an outcome that is not known each is in doubt until it is settled, and listed so', async () => {
  await settle(await claimed(), LOST);
  for (const place of [1, 2, 3]) {
    expect(ledger.store.deliveries({}, null, 9)).toMatchObject([{ logIndex: place, state: 'unknown' }]);
    const again = await claimed(NOW + 100);
    expect(again).toMatchObject({ logIndex: place, uncertain: true, behind: [] });
    await settle(again, DELIVERED, NOW + 100);
  }
  expect(await claimed(NOW + 100)).toMatchObject({ logIndex: 4, uncertain: false });
});

it('refused together, each is tried alone, and none is in doubt', async () => {
  await settle(await claimed(), REFUSED);
  for (const place of [1, 2, 3]) {
    const again = await claimed();
    expect(again).toMatchObject({ logIndex: place, uncertain: false, attempts: 2, behind: [] });
    await settle(again, DELIVERED);
  }
  expect(placesOf(await claimed())).toEqual([4, 5]);
});

it('what is asked for again goes alone, and is not in doubt for what went in a Bundle before', async () => {
  await settle(await claimed(), LOST);
  await settle(await claimed(NOW + 100), { state: 'dead', outcome: { why: 'HTTP 422' } }, NOW + 100);
  await ledger.store.requeue({ target: 'ehr' }, BY, NOW + 100);
  await settle(await claimed(NOW + 100), DELIVERED, NOW + 100);
  expect(await claimed(NOW + 100)).toMatchObject({
    ...{ logIndex: 1, redo: 'requeue', attempts: 1 },
    ...{ uncertain: false, behind: [] },
  });
});
