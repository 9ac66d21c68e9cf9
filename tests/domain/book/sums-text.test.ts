/** Sums over recent time from what is kept of a chart are those of the whole chart, to the digit. */
import fc from 'fast-check';
import { describe, expect, it, vi } from 'vitest';
import { A_DAY, type DrainSums, type Reach, sumsOf, WEEKS } from '../../../src/domain/book/drain-sums.ts';
import { readSums, writeSums } from '../../../src/domain/book/sums-text.ts';
import { calendarWindow } from '../../../src/domain/calendar/calendar-windows.ts';
import { epochMs, HOUR_MS, MINUTE_MS } from '../../../src/domain/numbers/units.ts';
import { DEFAULT_SETTINGS } from '../../../src/domain/vocabulary/settings.ts';
import { bookOf, level, placed, setUp, type Told } from '../../support/drain-script.ts';
import { arrivalOf, ledger, minute } from '../../support/ledgers.ts';

// A failure needs time to shrink to its smallest form.
vi.setConfig({ testTimeout: 120_000 });

const DAY_MIN = 24 * 60;
const EVERY_MIN = 25;

/** Minutes after 08:00 of the day on which a story begins, two days before included. */
const moment = (after: number): string => new Date(Date.parse(minute(0)) + after * MINUTE_MS).toISOString();

/** Two days of readings before what a story says, so that not all of it is kept. */
const TWO_DAYS: readonly Told[] = Array.from({ length: (2 * DAY_MIN) / EVERY_MIN }, (_, n) =>
  level(`early-${n}`, moment(n * EVERY_MIN - 2 * DAY_MIN), n * 5),
);
const EARLIER: readonly Told[] = [
  placed(moment(-2 * DAY_MIN), { patient: { reference: 'Patient/1' } }),
  setUp(moment(-2 * DAY_MIN), 0),
  ...TWO_DAYS,
];

const keptOf = (whole: DrainSums, reach = A_DAY): DrainSums =>
  readSums(whole.drain, writeSums(whole, reach), DEFAULT_SETTINGS);

/** Quarters, hours and half days that begin where the kept sums do or later, and one that ends after all. */
function spansIn({ since, newest }: DrainSums, first: number) {
  const from = since === -Infinity ? first : since;
  const to = (newest ?? from) + HOUR_MS;
  return [15 * MINUTE_MS, HOUR_MS, 12 * HOUR_MS].flatMap((length) => {
    const spans = [{ from: epochMs(from), to: epochMs(from + length) }];
    for (let at = Math.ceil(from / length) * length; at < to; at += length)
      spans.push({ from: epochMs(at), to: epochMs(at + length) });
    return spans;
  });
}

const expectSame = (whole: DrainSums, kept: DrainSums): void => {
  const first = Date.parse(moment(-2 * DAY_MIN));
  expect(kept).toMatchObject({
    drain: whole.drain,
    newest: whole.newest,
    circumstances: whole.circumstances,
  });
  for (const span of spansIn(kept, first))
    expect(calendarWindow(kept.state, kept.view, span, DEFAULT_SETTINGS)).toEqual(
      calendarWindow(whole.state, whole.view, span, DEFAULT_SETTINGS),
    );
};

describe('what is kept of the sums of a drain', () => {
  it('gives every window that it reaches as the whole chart does, whatever was charted', () => {
    let told = 0;
    let cut = 0;
    fc.assert(
      fc.property(ledger.chain(arrivalOf), (story) => {
        for (const drain of ['d1', 'd2']) {
          const whole = sumsOf(bookOf(story, drain));
          expectSame(whole, keptOf(whole));
        }
        const late = story.filter(({ key, drain }) => drain === 'd1' && !key.startsWith('placed'));
        const whole = sumsOf(bookOf([...EARLIER, ...late]));
        const kept = keptOf(whole);
        expectSame(whole, kept);
        told += 1;
        if (kept.since > -Infinity) cut += 1;
      }),
      { numRuns: 80 },
    );
    expect(cut).toBeGreaterThan(told / 2);
  });

  it('does so however far back it reaches, and whichever number of intervals it holds', () => {
    const anyReach: fc.Arbitrary<Reach> = fc.record({
      ms: fc.integer({ min: 0, max: 60 }).map((hours) => hours * HOUR_MS),
      most: fc.integer({ min: 1, max: 150 }),
    });
    let told = 0;
    let cut = 0;
    fc.assert(
      fc.property(ledger.chain(arrivalOf), anyReach, (story, reach) => {
        const late = story.filter(({ key, drain }) => drain === 'd1' && !key.startsWith('placed'));
        const whole = sumsOf(bookOf([...EARLIER, ...late]));
        const kept = keptOf(whole, reach);
        expectSame(whole, kept);
        told += 1;
        if (kept.since > -Infinity) cut += 1;
      }),
      { numRuns: 60 },
    );
    expect(cut).toBeGreaterThan(told / 3);
  });

  it('of weeks is all of two days', () => {
    expect(keptOf(sumsOf(bookOf(EARLIER)), WEEKS).since).toBe(-Infinity);
  });

  it('reaches back a day and the hour it begins in, and no further than it must', () => {
    const { since, newest } = keptOf(sumsOf(bookOf(EARLIER)));
    expect((newest ?? 0) - since).toBeGreaterThanOrEqual(25 * HOUR_MS);
    expect((newest ?? 0) - since).toBeLessThan(27 * HOUR_MS);
  });

  it('is all of it where that is less', () => {
    expect(keptOf(sumsOf(bookOf(EARLIER.slice(0, 40)))).since).toBe(-Infinity);
    expect(keptOf(sumsOf(bookOf([placed()]))).since).toBe(-Infinity);
  });

  it('says of a unit whose graduations are not known that the error is not known', () => {
    const unmarked = [placed(), level('a', '08:00', 0), level('b', '09:00', 40), level('c', '10:00', 90)];
    const { state, view } = keptOf(sumsOf(bookOf(unmarked)));
    const hour = { from: epochMs(Date.parse(minute(60))), to: epochMs(Date.parse(minute(120))) };
    expect(calendarWindow(state, view, hour, DEFAULT_SETTINGS)?.sum).toMatchObject({
      net_low: 50_000,
      uncertainty: null,
    });
  });
});
