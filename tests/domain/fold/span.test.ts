import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { stateOf } from '../../../src/domain/fold/chart.ts';
import { type SpanSum, spanSum } from '../../../src/domain/fold/span.ts';
import { approximately } from '../../../src/domain/numbers/rational.ts';
import { epochMs, HOUR_MS, MINUTE_MS } from '../../../src/domain/numbers/units.ts';
import {
  at,
  bookOf,
  instilled,
  level,
  placed,
  rowsOf,
  sampled,
  setUp,
  type Told,
} from '../../support/drain-script.ts';
import { series, toldSeries, uncertaintyByMoving } from '../../support/series.ts';

const START = Date.parse(at('08:00'));
const minute = (n: number) => epochMs(START + n * MINUTE_MS);
const MAX_GAP = 2 * HOUR_MS;

const over = (story: readonly Told[], from: number, to: number, gap = MAX_GAP): SpanSum | null =>
  spanSum(stateOf(bookOf(story).chart), minute(from), minute(to), gap);
const netOf = (sum: SpanSum | null): number => (sum === null ? 0 : approximately(sum.net));

/** Straight from the definition: each interval's volume spread evenly, minute by minute. */
function byHand(story: readonly Told[], from: number, to: number): number {
  let net = 0;
  for (const { volumes } of rowsOf(story)) {
    if (volumes === null) continue;
    const { from: start, to: end, drained } = volumes.interval;
    for (let n = from; n < to; n += 1) {
      if (minute(n) >= start.at && minute(n) < end.at)
        net += ((drained ?? 0) * MINUTE_MS) / (end.at - start.at);
    }
  }
  return net;
}

const edges = fc
  .tuple(fc.integer({ min: -60, max: 900 }), fc.integer({ min: 1, max: 500 }))
  .map(([from, length]) => [from, from + length] as const);

describe('what drained between two moments', () => {
  const hourly = [
    placed(),
    setUp('08:00', 0),
    level('a', '09:00', 60),
    level('b', '10:00', 90),
    level('c', '11:00', 100),
  ];

  it('interpolates at both edges, with bounds that leave the cut intervals out and count them whole', () => {
    // Linear interpolation: 30 of 60 in the half hour to 09:00, 30 to 10:00, 5 of 10 after.
    expect(over(hourly, 30, 150)).toMatchObject({
      net_low: 30_000,
      net_high: 100_000,
      covered_ms: 2 * HOUR_MS,
    });
    expect(netOf(over(hourly, 30, 150))).toBe(65_000);
  });

  it('lies within one interval when both edges do', () => {
    expect(netOf(over(hourly, 15, 45))).toBe(30_000);
    expect(over(hourly, 15, 45)).toMatchObject({ net_low: 0, net_high: 60_000, interpolated: true });
  });

  it('counts whole intervals exactly, with nothing interpolated', () => {
    expect(over(hourly, 0, 120)).toMatchObject({ net_low: 90_000, net_high: 90_000, interpolated: false });
  });

  it('does not cover what is after the last level, before the first, or in a cut gap over the limit', () => {
    expect(over(hourly, 150, 240)).toMatchObject({ covered_ms: HOUR_MS / 2, net_high: null });
    expect(over(hourly, -60, 60)).toMatchObject({ covered_ms: HOUR_MS, net_high: null });
    expect(over(hourly, 200, 300)).toBeNull();
    const gap = [placed(), setUp('08:00', 0), level('a', '11:00', 90)];
    expect(over(gap, 60, 180)).toBeNull();
    expect(over(gap, 0, 180)).toMatchObject({ net_low: 90_000, net_high: 90_000 });
  });

  it('takes flows from its start on and up to its end: at an edge they follow the level', () => {
    const flows = [...hourly, instilled('in', '09:00', 20), sampled('out', '10:00', 5)];
    expect(over(flows, 0, 60)).toMatchObject({ instilled: 0, sampled: 0 });
    expect(over(flows, 60, 120)).toMatchObject({ instilled: 20_000, sampled: 0, net_low: 10_000 });
    expect(over(flows, 120, 180)).toMatchObject({ instilled: 0, sampled: 5_000 });
  });

  it('equals a sum minute by minute', () => {
    fc.assert(
      fc.property(series, edges, (given, [from, to]) => {
        const { story } = toldSeries(given);
        expect(netOf(over(story, from, to))).toBeCloseTo(byHand(story, from, to), 3);
      }),
      { numRuns: 150 },
    );
  });

  it('adds up: a span is its two parts, wherever it is cut', () => {
    fc.assert(
      fc.property(series, edges, fc.double({ min: 0, max: 1, noNaN: true }), (given, [from, to], share) => {
        const { story } = toldSeries(given);
        const middle = from + Math.floor((to - from) * share);
        const parts = netOf(over(story, from, middle)) + netOf(over(story, middle, to));
        expect(parts).toBeCloseTo(netOf(over(story, from, to)), 3);
      }),
      { numRuns: 150 },
    );
  });

  it('has the uncertainty of its levels, each with its coefficient', () => {
    fc.assert(
      fc.property(series, edges, (given, [from, to]) => {
        const sum = over(toldSeries(given).story, from, to);
        fc.pre(sum !== null);
        const expected = uncertaintyByMoving(given, (story) => netOf(over(story, from, to)));
        expect((sum?.uncertainty ?? Number.NaN) / 1000).toBeCloseTo(expected, 6);
      }),
      { numRuns: 150 },
    );
  });
});
