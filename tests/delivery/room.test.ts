/** Delivery leaves room for those who chart: the rule alone, and the loop that keeps to it, in virtual time. */
import { setImmediate } from 'node:timers/promises';
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import type { LoopTime } from '../../src/delivery/clock.ts';
import { createRoom } from '../../src/delivery/room.ts';
import { incoming, ledgerForEach } from '../store/ledger.ts';
import { level, placed, setUp, type Told } from '../support/drain-script.ts';
import { delivererForEach } from './sim/one-target.ts';
import { createVirtualClock } from './sim/virtual-clock.ts';
import { targetOf } from './target.ts';

const SECOND_MS = 1000;

/** A thread that is at work or idle as it is told. */
function createThread() {
  const spent = { busyMs: 0, idleMs: 0 };
  const now = (): number => spent.busyMs + spent.idleMs;
  return {
    room: createRoom({ now, loop: () => ({ ...spent }) }),
    works(ms: number) {
      spent.busyMs += ms;
    },
    idles(ms: number) {
      spent.idleMs += ms;
    },
  };
}

describe('room', () => {
  it('is without bound while nobody charts, and again when nobody did for a second', () => {
    const { room, works } = createThread();
    expect(room.drains()).toBe(Infinity);
    room.charted();
    room.begin();
    room.began(33, 99);
    works(SECOND_MS);
    expect(room.drains()).toBe(0);
    works(1);
    expect(room.drains()).toBe(Infinity);
  });

  it('is there once the loop was idle for as long as it was at work since the last began, their claims included', () => {
    const { room, works, idles } = createThread();
    room.charted();
    room.begin();
    works(7);
    room.began(33, 99);
    works(3);
    idles(9.5);
    expect(room.drains()).toBe(0);
    idles(0.5);
    expect(room.drains()).toBeGreaterThan(0);
  });

  it('is there for two deliveries an entry, however busy the loop is', () => {
    const { room, works } = createThread();
    room.charted();
    room.begin();
    room.began(6, 6);
    works(20);
    room.charted();
    room.charted();
    expect(room.drains()).toBe(0);
    room.charted();
    expect(room.drains()).toBe(6);
  });

  it('is for so many drains as bring what is owed, where several wait on each', () => {
    const { room, works } = createThread();
    room.charted();
    room.begin();
    room.began(4, 20);
    works(20);
    for (let n = 0; n < 9; n += 1) room.charted();
    expect(room.drains()).toBe(0);
    room.charted();
    expect(room.drains()).toBe(4);
    for (let n = 0; n < 10; n += 1) room.charted();
    expect(room.drains()).toBe(8);
  });

  it('is for a few drains where it is there because the loop was idle', () => {
    const { room, works, idles } = createThread();
    room.charted();
    room.begin();
    room.began(4, 20);
    for (let n = 0; n < 9; n += 1) room.charted();
    works(5);
    idles(5);
    expect(room.drains()).toBe(4);
  });

  it('is asked for again when it can be there at the earliest, but soon', () => {
    const { room, works, idles } = createThread();
    room.charted();
    room.begin();
    room.began(33, 99);
    works(500);
    expect(room.restMs()).toBe(10);
    idles(497);
    expect(room.restMs()).toBe(3);
    idles(3);
    expect(room.restMs()).toBe(1);
  });

  const step = fc.record({
    works: fc.integer({ min: 0, max: 60 }),
    idles: fc.integer({ min: 0, max: 60 }),
    entries: fc.integer({ min: 0, max: 5 }),
    behind: fc.integer({ min: 0, max: 15 }),
  });

  it('leaves the loop idle for half of the time, but for what is owed to those who chart', () => {
    fc.assert(
      fc.property(fc.array(step, { minLength: 1, maxLength: 100 }), (steps) => {
        const thread = createThread();
        const { room } = thread;
        let since = { busyMs: 0, idleMs: 0, entries: 1, begun: 0 };
        room.charted();
        for (const { works, idles, entries, behind } of steps) {
          thread.works(works);
          thread.idles(idles);
          for (let n = 0; n < entries; n += 1) room.charted();
          since = {
            busyMs: since.busyMs + works,
            idleMs: since.idleMs + idles,
            entries: since.entries + entries,
            begun: since.begun,
          };
          const drains = room.drains();
          if (drains === 0 || drains === Infinity) continue;
          const isOwed = 2 * since.entries >= since.begun;
          expect(isOwed || since.idleMs >= since.busyMs).toBe(true);
          const begun = drains * (1 + behind);
          room.begin();
          room.began(drains, begun);
          since = { busyMs: 0, idleMs: 0, entries: 0, begun };
        }
      }),
    );
  });

  it('lets an outage be caught up with in no longer than it took, though the loop is never idle', () => {
    fc.assert(
      fc.property(fc.array(fc.integer({ min: 0, max: 50 }), { minLength: 1, maxLength: 200 }), (bursts) => {
        const { room, works } = createThread();
        let [entries, begun, entriesBefore] = [0, 0, 0];
        for (const burst of [1, ...bursts]) {
          works(10);
          for (let n = 0; n < burst; n += 1) room.charted();
          entries += burst;
          const drains = room.drains();
          if (drains === 0 || drains === Infinity) continue;
          room.begin();
          room.began(drains, drains);
          begun += drains;
          entriesBefore = entries;
        }
        expect(begun).toBeGreaterThanOrEqual(2 * entriesBefore);
        // What came since is less than half of what began last.
        expect(2 * (entries - entriesBefore)).toBeLessThan(Math.max(1, begun));
      }),
    );
  });
});

describe('the delivery loop', () => {
  const DRAINS = 24;
  const START_MS = Date.UTC(2026, 2, 5);
  const BASE = 'https://ehr.example/fhir';
  const ledger = ledgerForEach();
  const startOn = delivererForEach();

  const placement = (drain: number): Told => ({
    ...placed('08:00', { patient: { reference: `Patient/p${drain}` } }),
    key: `placed-${drain}`,
  });

  /** @param loopAt how the loop has spent its time, so long after the start, and after so many requests */
  function deliver(loopAt: (elapsedMs: number, requests: number) => LoopTime) {
    const clock = createVirtualClock(START_MS, () => 0.5);
    const sentInTurn: number[] = [];
    let turn = 0;
    startOn({
      store: ledger.store,
      target: targetOf({ baseUrl: BASE, mostAtOnce: 100, mostInBundle: 1 }),
      async http() {
        sentInTurn.push(turn);
        await clock.after(1);
        return { status: 200, headers: {}, body: '' };
      },
      clock: {
        ...clock,
        loop: () => loopAt(clock.now() - START_MS, sentInTurn.length),
        async turn() {
          await setImmediate();
          turn += 1;
        },
      },
      // So seldom that what goes on sooner was not woken by it.
      pollMs: 60 * SECOND_MS,
    });
    return { clock, sentInTurn, requests: () => sentInTurn.length };
  }

  /** In one write. */
  async function chart(clock: ReturnType<typeof deliver>['clock'], drains: readonly number[]): Promise<void> {
    const readings = drains.map((drain) => {
      const told = { ...level(`level-${drain}`, '09:00', 20), key: `level-${drain}` };
      return ledger.record([incoming(told, placement(drain))]);
    });
    await clock.busy(Promise.all(readings));
  }

  /** One delivery waits for each. */
  async function setUpAll(): Promise<void> {
    for (let drain = 0; drain < DRAINS; drain += 1)
      for (const told of [placement(drain), { ...setUp('08:00', 0), key: `set-up-${drain}` }])
        await ledger.record([incoming(told, placement(drain))]);
  }

  it('begins as much as is owed while somebody charts and the loop is never idle; all else when nobody does', async () => {
    await setUpAll();
    const { clock, requests } = deliver((elapsedMs, sent) => ({ busyMs: elapsedMs + sent, idleMs: 0 }));
    await chart(clock, [0]);
    await clock.runUntil(() => clock.now() >= START_MS + 500, SECOND_MS);
    expect(requests()).toBe(4);
    await chart(clock, [1, 2, 3]);
    await clock.runUntil(() => clock.now() >= START_MS + 900, SECOND_MS);
    expect(requests()).toBe(4 + 6);
    await clock.runUntil(() => requests() === DRAINS + 4, 2 * SECOND_MS);
    expect(clock.now()).toBeGreaterThan(START_MS + 1500);
  });

  it('goes on as soon as the loop was idle as long as it was at work, while somebody charts', async () => {
    await setUpAll();
    const costMs = 5;
    const { clock, requests } = deliver((elapsedMs, sent) => ({ busyMs: costMs * sent, idleMs: elapsedMs }));
    await chart(clock, [0]);
    await clock.runUntil(() => requests() === DRAINS + 1, SECOND_MS);
    const elapsedMs = clock.now() - START_MS;
    expect(elapsedMs).toBeGreaterThanOrEqual(costMs * (DRAINS + 1 - 4));
    expect(elapsedMs).toBeLessThan(2 * costMs * (DRAINS + 1));
  });
  it('writes one Bundle a turn of the event loop while somebody charts', async () => {
    await setUpAll();
    const { clock, sentInTurn } = deliver(() => ({ busyMs: 0, idleMs: 0 }));
    await chart(clock, [0]);
    await clock.runUntil(() => sentInTurn.length === DRAINS + 1, SECOND_MS);
    expect(new Set(sentInTurn).size).toBe(DRAINS + 1);
  });

  it('writes all that it claimed at once when nobody charts', async () => {
    await setUpAll();
    const { clock, sentInTurn } = deliver(() => ({ busyMs: 1, idleMs: 0 }));
    await clock.runUntil(() => sentInTurn.length === DRAINS, SECOND_MS);
    expect(new Set(sentInTurn).size).toBe(1);
  });
});
