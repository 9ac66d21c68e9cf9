/** What all drains of a patient gave in given stretches of time. */
import fc from 'fast-check';
import { describe, expect, it, vi } from 'vitest';
import { calendarWindow, windowRate } from '../../../src/domain/calendar/calendar-windows.ts';
import { closedTogether, patientWindow } from '../../../src/domain/calendar/patient-windows.ts';
import { stateOf } from '../../../src/domain/fold/chart.ts';
import type { Span } from '../../../src/domain/fold/interval.ts';
import { add, approximately, type Rational, rational } from '../../../src/domain/numbers/rational.ts';
import { epochMs, HOUR_MS } from '../../../src/domain/numbers/units.ts';
import { DEFAULT_SETTINGS } from '../../../src/domain/vocabulary/settings.ts';
import {
  at,
  instilled,
  level,
  onDrain,
  placed,
  says,
  setUp,
  type Told,
  tell,
} from '../../support/drain-script.ts';
import { measuredDrain } from '../../support/measured-drains.ts';

// A failure needs time to shrink to its smallest form.
vi.setConfig({ testTimeout: 120_000 });

const span = (from: string, to: string): Span => ({
  from: epochMs(Date.parse(at(from))),
  to: epochMs(Date.parse(at(to))),
});

const equal = (a: Rational, b: Rational) => a.numerator * b.denominator === b.numerator * a.denominator;
const hoursFrom = (time: string): readonly Span[] =>
  Array.from({ length: 8 }, (_, hour) => {
    const from = epochMs(Date.parse(time) + hour * HOUR_MS);
    return { from, to: epochMs(from + HOUR_MS) };
  });

/** The drains of one story as a patient's. */
const drainsOf = (story: readonly Told[]) =>
  [...tell(story).subject.values()].map(({ drain, view, chart }) => ({
    ...{ drain, placedMs: view.placedMs, removedMs: view.removedMs },
    state: stateOf(chart),
  }));
const together = (story: readonly Told[], from: string, to: string) =>
  patientWindow(drainsOf(story), span(from, to), DEFAULT_SETTINGS);
const mlOf = (sum: { readonly net: Rational } | null) =>
  sum === null ? null : approximately(sum.net) / 1000;

describe('all drains of a patient', () => {
  const one = [placed('08:00'), setUp('08:00', 0), level('a', '10:00', 130)];
  const other = (...told: readonly Told[]) =>
    told.map((each) => onDrain('d2', { ...each, key: `2${each.key}` } as Told));
  const two = [...one, ...other(placed('08:00'), setUp('08:00', 0), level('a', '10:00', 45))];

  it('give the sum of theirs: 130 + 45 mL in 2 h are 87.5 mL/h', () => {
    // Common practice, no source; arithmetic ours.
    const window = together(two, '08:00', '10:00');
    expect(mlOf(window.sum)).toBe(175);
    const rate = windowRate(window, 2, DEFAULT_SETTINGS);
    expect(rate.value === null ? null : approximately(rate.value)).toBe(87.5);
    // Four levels read to 5 mL, k = 2: 4.082 √2 mL.
    expect((window.sum?.uncertainty ?? 0) / 1000).toBeCloseTo(5.774, 3);
    expect(window).toMatchObject({ incomplete: [], preliminary: false });
  });
  it('count what was put in on any of them, and say where an edge was interpolated on one', () => {
    const flushed = [...one, instilled('f', '09:00', 10), ...other(placed('08:00'), setUp('08:00', 0))];
    const both = [...flushed, ...other(instilled('f', '09:00', 20), level('a', '10:00', 45))];
    const whole = together(both, '08:00', '10:00').sum;
    expect([whole?.instilled, whole?.interpolated]).toEqual([30_000, false]);
    expect(mlOf(whole)).toBe(145);
    expect(together(two, '08:00', '09:00').sum?.interpolated).toBe(true);
  });
  it('are a lower bound while one is incomplete, which is named with its reasons', () => {
    const open = [...one, ...other(placed('08:00'), setUp('08:00', 0), level('a', '09:00', 45))];
    const window = together(open, '08:00', '10:00');
    expect(mlOf(window.sum)).toBe(175);
    expect(window.sum?.net_high).toBeNull();
    expect(window).toMatchObject({
      ...{ preliminary: true, in_place_ms: 4 * HOUR_MS, covered_ms: 3 * HOUR_MS },
      incomplete: [{ drain: 'd2', reasons: ['after-last-level'] }],
    });
    expect(windowRate(window, 2, DEFAULT_SETTINGS)).toEqual({ value: null, reason: 'not-covered' });
  });
  it('have no upper bound while of one nothing is known', () => {
    // Common practice, no source: what an unread drain may have given has no bound.
    const unread = [...one, ...other(placed('08:00'))];
    expect(together(unread, '08:00', '10:00')).toMatchObject({
      sum: { net_low: 130_000, net_high: null },
      incomplete: [{ drain: 'd2', reasons: ['no-level'] }],
    });
  });
  it('are incomplete where a closed window was read late', () => {
    const late = [...one, ...other(placed('08:00'), setUp('09:00', 0), level('a', '10:00', 45))];
    expect(together(late, '08:00', '10:00')).toMatchObject({
      ...{ preliminary: false, incomplete: [{ drain: 'd2', reasons: ['before-first-level'] }] },
    });
  });
  it('leave out those not yet in, and those already out', () => {
    const later = [...one, ...other(placed('10:00'), setUp('10:00', 0), says('out', '10:30', 'removed', {}))];
    expect(together(later, '08:00', '10:00')).toMatchObject({ incomplete: [], drains: [{ drain: 'd1' }] });
    expect(together(later, '11:00', '12:00').drains.map(({ drain }) => drain)).toEqual(['d1']);
    expect(together(later, '10:00', '11:00').drains.map(({ drain }) => drain)).toEqual(['d1', 'd2']);
    expect(together(later, '06:00', '08:00')).toMatchObject({ sum: null, drains: [], incomplete: [] });
  });
  it('have no uncertainty while one has none', () => {
    const unknown = [...one, ...other(placed('08:00'), level('x', '08:00', 0), level('a', '10:00', 45))];
    expect(together(unknown, '08:00', '10:00').sum).toMatchObject({ uncertainty: null });
  });
  it('have closed together at the last time that all of them have a level for', () => {
    const closed = (story: readonly Told[]) => {
      const ms = closedTogether(drainsOf(story));
      return ms === null ? null : new Date(ms).toISOString().slice(11, 16);
    };
    expect(closed(two)).toBe('10:00');
    expect(closed([...two, level('b', '12:00', 140)])).toBe('10:00');
    expect(closed([...two, level('b', '12:00', 140), ...other(level('b', '11:00', 50))])).toBe('11:00');
    const removed = other(says('out', '10:30', 'removed', {}));
    expect(closed([...two, level('b', '12:00', 140), ...removed])).toBe('12:00');
    expect(closed([...two, ...removed, says('gone', '10:30', 'removed', {})])).toBe('10:00');
    expect(closed([...one, ...other(placed('10:20'))])).toBe('10:00');
    expect(closed([placed('08:00')])).toBe('08:00');
    expect(closed([setUp('08:00', 0)])).toBeNull();
  });

  it('two drains give together what they give alone', () => {
    fc.assert(
      fc.property(measuredDrain(120), measuredDrain(120), (one, two) => {
        const second = two.story.map((told) => onDrain('d2', { ...told, key: `2${told.key}` } as Told));
        const drains = drainsOf([...one.story, ...second]);
        for (const each of hoursFrom(at('07:20'))) {
          const together = patientWindow(drains, each, DEFAULT_SETTINGS);
          const sum = together.sum?.net ?? rational(0);
          if (together.sum !== null)
            expect(together.sum.net_high === null).toBe(together.incomplete.length > 0);
          const alone = drains.map(
            (drain) => calendarWindow(drain.state, drain, each, DEFAULT_SETTINGS)?.sum?.net ?? rational(0),
          );
          expect(equal(sum, alone.reduce(add, rational(0)))).toBe(true);
        }
      }),
      { numRuns: 100 },
    );
  });
});
