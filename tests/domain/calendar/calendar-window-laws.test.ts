/** What holds of calendar windows of any drain, in any zone. */
import fc from 'fast-check';
import { describe, expect, it, vi } from 'vitest';
import { calendarWindow } from '../../../src/domain/calendar/calendar-windows.ts';
import { stateOf } from '../../../src/domain/fold/chart.ts';
import { add, type Rational, rational } from '../../../src/domain/numbers/rational.ts';
import { epochMs, HOUR_MS } from '../../../src/domain/numbers/units.ts';
import type { Calendar } from '../../../src/domain/vocabulary/configuration.ts';
import { DEFAULT_SETTINGS } from '../../../src/domain/vocabulary/settings.ts';
import { CALENDAR_KINDS, windowsOver } from '../../../src/record/calendar.ts';
import { at, bookOf, rowsOf, tell } from '../../support/drain-script.ts';
import { arrivalOf, ledger } from '../../support/ledgers.ts';
import { measuredDrain } from '../../support/measured-drains.ts';
import { ROWS_ONLY } from '../../support/policy.ts';

// A failure needs time to shrink to its smallest form.
vi.setConfig({ testTimeout: 120_000 });

describe('calendar windows', () => {
  const zone = fc.constantFrom(
    'UTC',
    'Europe/Berlin',
    'America/New_York',
    'Asia/Kolkata',
    'Australia/Lord_Howe',
  );
  const calendar: fc.Arbitrary<Calendar> = fc.record({
    zone,
    dayStart: fc.integer({ min: 0, max: 1439 }),
    shiftStarts: fc
      .uniqueArray(fc.integer({ min: 0, max: 1439 }), { minLength: 1, maxLength: 4 })
      .map((all) => all.sort((a, b) => a - b)),
  });
  const equal = (a: Rational, b: Rational) => a.numerator * b.denominator === b.numerator * a.denominator;

  it('where all is covered, hours, shifts and days each add up to the cumulative sum, exactly', () => {
    let cut = 0;
    fc.assert(
      fc.property(measuredDrain(120), calendar, ({ story }, calendar) => {
        const { chart, view } = bookOf(story);
        const state = stateOf(chart);
        const last = rowsOf(story).findLast(({ volumes }) => volumes !== null)?.volumes;
        if (last == null) throw new Error('a measured drain has volumes');
        const over = { from: last.cumulative.from, to: last.interval.to.at };
        for (const kind of CALENDAR_KINDS) {
          const windows = windowsOver(calendar, kind, over, 1000).map((each) =>
            calendarWindow(state, view, each, DEFAULT_SETTINGS),
          );
          const sums = windows.flatMap((window) => window?.sum ?? []);
          expect(
            equal(
              sums.reduce((so, { net }) => add(so, net), rational(0)),
              rational(last.cumulative.net),
            ),
          ).toBe(true);
          for (const window of windows.slice(0, -1)) expect(window?.covered_ms).toBe(window?.in_place_ms);
          if (sums.some(({ interpolated }) => interpolated)) cut += 1;
        }
      }),
      { numRuns: 150 },
    );
    expect(cut).toBeGreaterThan(0);
  });

  it('in any ledger: what is not covered has a reason, what is covered lies within its bounds', () => {
    let uncovered = 0;
    fc.assert(
      fc.property(ledger.chain(arrivalOf), fc.integer({ min: -60, max: 600 }), (story, start) => {
        const { subject } = tell(story, new Map(), ROWS_ONLY);
        const from = epochMs(Date.parse(at('08:00')) + start * 60_000);
        for (const { chart, view } of subject.values()) {
          const each = { from, to: epochMs(from + HOUR_MS) };
          const found = calendarWindow(stateOf(chart), view, each, DEFAULT_SETTINGS);
          if (found === null) continue;
          expect(found.in_place_ms).toBeLessThanOrEqual(HOUR_MS);
          expect(found.covered_ms).toBeLessThanOrEqual(found.in_place_ms);
          expect(found.uncovered.length > 0).toBe(found.covered_ms < found.in_place_ms);
          if (found.uncovered.length > 0) uncovered += 1;
          if (found.sum === null) continue;
          const { net, net_low, net_high } = found.sum;
          expect(net.numerator).toBeGreaterThanOrEqual(BigInt(net_low) * net.denominator);
          expect(net_high === null).toBe(found.uncovered.length > 0);
          if (net_high !== null)
            expect(net.numerator).toBeLessThanOrEqual(BigInt(net_high) * net.denominator);
        }
      }),
      { numRuns: 300 },
    );
    expect(uncovered).toBeGreaterThan(0);
  });
});
