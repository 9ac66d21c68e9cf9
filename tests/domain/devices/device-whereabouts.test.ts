/** On which drain a device was, by clocks that nobody has looked at; all of it is invented. */
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import type { DeviceBook, Stay } from '../../../src/domain/devices/device.ts';
import {
  drainAt,
  isClockInQuestion,
  LEAST_DOUBT_MS,
  MOST_BEHIND_MS,
} from '../../../src/domain/devices/device-whereabouts.ts';
import { epochMs } from '../../../src/domain/numbers/units.ts';

const id = (value: string) => ({ system: 'urn:example:ward', value });
const NOON = Date.UTC(2026, 2, 1, 12);
const minute = (n: number) => epochMs(NOON + n * 60_000);

function stay(drain: string | null, from: number, to: number | null, more: Partial<Stay> = {}): Stay {
  const key = id(`${drain}-${from}`);
  return {
    ...{ identifier: key, end: key, members: [key], void: false, drain },
    ...{ from: new Date(minute(from)).toISOString(), fromMs: minute(from) },
    toMs: to === null ? epochMs(Infinity) : minute(to),
    ...more,
  };
}
const book = (...stays: readonly Stay[]): DeviceBook => ({ registration: null, stays });

const MOVED = book(stay('a', -600, 0), stay('b', 0, null));
const read = (charted: number, received: number, by: 'device' | 'person' = 'device') => ({
  charted: minute(charted),
  receivedMs: minute(received),
  by,
});

describe('a reading of a device that has been moved', () => {
  // Average error of device clocks, 24 min: Pennsylvania Patient Safety Advisory 2012;9(4):143-4. The bounds are ours.
  it.each([
    ['charted and received before the move', -30, -1, 'a'],
    ['charted and received after it', 1, 25, 'b'],
    ['by a clock 24 min behind, read after the move', -10, 14, null],
    ['received at the very instant of the move', -24, 0, null],
    ['received a minute after it was charted, over the move', -0.5, 0.5, 'a'],
    ['received just over a minute after it was charted', -0.5, 0.5 + 1 / 60_000, null],
    ['received 90 min after it was charted', -45, 45, null],
    ['received later than any clock is behind: kept, and sent late', -45, 45 + 1 / 60_000, 'a'],
    ['charted at the instant of the move', 0, 30, 'b'],
    ['by a clock ahead: it was read by when it was received', 30, -1, 'a'],
  ])('%s', (_, charted, received, drain) => {
    expect(drainAt(MOVED, read(charted, received))).toBe(drain);
    expect(isClockInQuestion(MOVED, read(charted, received))).toBe(drain === null);
  });

  it('is believed where a person charts the time, or looked at the clock', () => {
    expect(drainAt(MOVED, read(-10, 14, 'person'))).toBe('a');
    const checked = book(stay('a', -600, 0, { clock_checked: true }), stay('b', 0, null));
    expect(drainAt(checked, read(-10, 14))).toBe('a');
    // A clock that was looked at on the next drain says nothing of the time before.
    const later = book(stay('a', -600, 0), stay('b', 0, null, { clock_checked: true }));
    expect(drainAt(later, read(-10, 14))).toBe(null);
  });

  it.each([
    ['taken off', book(stay('a', -600, 0)), null],
    ['taken out of use', book(stay('a', -600, 0), stay(null, 0, null)), null],
    ['charted anew on the same drain', book(stay('a', -600, 0), stay('a', 0, null)), 'a'],
    ['moved away and back', book(stay('a', -600, 0), stay('b', 0, 5), stay('a', 5, null)), null],
    ['moved by an entry in error', book(stay('a', -600, null), stay('b', 0, null, { void: true })), 'a'],
    ['on no drain by its clock', book(stay('b', 0, null)), null],
  ])('%s', (_, where, drain) => {
    expect(drainAt(where, read(-10, 14))).toBe(drain);
  });
});

it('is of no drain, or of the one that its clock tells of; and of that one at whatever moment it was read by a clock that may be behind', () => {
  const stays = fc
    .uniqueArray(fc.integer({ min: -200, max: 200 }), { minLength: 2, maxLength: 7 })
    .map((edges) => edges.sort((a, b) => a - b))
    .chain((edges) =>
      fc
        .array(fc.constantFrom('a', 'b', null, 'gap'), {
          minLength: edges.length - 1,
          maxLength: edges.length - 1,
        })
        .map((drains) =>
          drains.flatMap((drain, n) =>
            drain === 'gap' ? [] : stay(drain, edges[n] ?? 0, edges[n + 1] ?? 0),
          ),
        ),
    );
  const at = fc.integer({ min: -220, max: 220 });
  fc.assert(
    fc.property(stays, at, fc.integer({ min: 0, max: 150 }), (all, charted, later) => {
      const where = (n: number) =>
        all.find(({ fromMs, toMs }) => fromMs <= minute(n) && minute(n) < toMs)?.drain ?? null;
      const behind = later * 60_000;
      const isBelieved = behind <= LEAST_DOUBT_MS || behind > MOST_BEHIND_MS;
      const moments = Array.from({ length: later + 1 }, (_, n) => where(charted + n));
      const isSure = isBelieved || moments.every((drain) => drain === moments[0]);
      expect(drainAt(book(...all), read(charted, charted + later))).toBe(isSure ? where(charted) : null);
    }),
  );
});
