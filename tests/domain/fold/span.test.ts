import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { stateOf } from '../../../src/domain/fold/chart.ts';
import { coveredThousandths, type SpanSum, spanSum } from '../../../src/domain/fold/span.ts';
import { approximately } from '../../../src/domain/numbers/rational.ts';
import { epochMs, HOUR_MS, MINUTE_MS } from '../../../src/domain/numbers/units.ts';
import {
  at,
  bookOf,
  changed,
  clamped,
  instilled,
  level,
  placed,
  rowsOf,
  sampled,
  setUp,
  type Told,
  unclamped,
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
  /** Nothing explains it: the rise before it is in doubt. */
  const fall = [
    placed(),
    setUp('08:00', 0),
    level('a', '09:00', 100),
    level('b', '10:00', 120),
    level('c', '11:00', 20),
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

  it('is interpolated where two halves make up the hour', () => {
    // 30 of 60 until 09:00 and 15 of 30 after; all of both at most.
    expect(netOf(over(hourly, 30, 90))).toBe(45_000);
    expect(over(hourly, 30, 90)).toMatchObject({ net_low: 0, net_high: 90_000, interpolated: true });
  });

  it('interpolates in an interval of the limit, and in none that is longer', () => {
    const long = [placed(), setUp('08:00', 0), level('a', '10:00', 90)];
    expect(netOf(over(long, 0, 60))).toBe(45_000);
    expect(over(long, 0, 60, MAX_GAP - 1)).toBeNull();
  });

  describe('covers no part of an interval that is not measured', () => {
    const unclosed = [placed(), setUp('08:00', 0), level('a', '09:00', 40), changed('u', '09:30', null, 0)];
    const atLeast = [...unclosed, level('b', '10:00', 60)];

    it.each<[string, readonly Told[], number, number]>([
      ['the first half of one that is a lower bound', atLeast, 60, 90],
      ['its second half', atLeast, 90, 120],
      ['half of a rise that a later fall contradicts', fall, 60, 90],
      ['half of a fall that nothing explains', fall, 120, 150],
    ])('%s', (_, story, from, to) => {
      expect(over(story, from, to)).toBeNull();
    });

    it('but counts a lower bound that lies in it whole, as one', () => {
      expect(over(atLeast, 60, 120)).toMatchObject({ net_low: 60_000, net_high: null, covered_ms: 0 });
    });

    it('and leaves what it does cover as it was', () => {
      const sum = over(fall, 0, 90);
      expect(netOf(sum)).toBe(100_000);
      expect(sum).toMatchObject({ covered_ms: HOUR_MS, net_high: null, interpolated: false });
    });
  });

  it('spreads what drained over the time that the tube was open', () => {
    const story = [
      placed(),
      setUp('08:00', 0),
      clamped('c', '08:00'),
      unclamped('u', '08:30'),
      level('a', '09:00', 60),
    ];
    // All 60 drained in the half hour from 08:30.
    expect(netOf(over(story, 0, 30))).toBe(0);
    expect(netOf(over(story, 0, 45))).toBe(30_000);
    expect(netOf(over(story, 45, 60))).toBe(30_000);
  });

  it('spreads what drained past a clamp that never opened over all of its time', () => {
    const story = [placed(), setUp('08:00', 0), clamped('c', '08:00'), level('a', '09:00', 60)];
    expect(netOf(over(story, 0, 15))).toBe(15_000);
  });

  describe('reading error (JCGM 100:2008, 4.3.7 and 5.1.2; k = 2; arithmetic ours)', () => {
    const unitChanged = [
      placed(),
      setUp('08:00', 0),
      level('a', '09:00', 100),
      changed('u', '10:00', 120, 0),
      level('b', '11:00', 60),
    ];
    const fallen = [...fall, level('d', '12:00', 80)];

    // Each level counts with the factor that it has in the sum: half of (90 - 60) counts both with a half.
    it.each<[string, readonly Told[], number, number, readonly number[]]>([
      ['whole intervals: the levels between them cancel', hourly, 0, 120, [1, 1]],
      ['half of one', hourly, 15, 45, [1 / 2, 1 / 2]],
      ['its second half, and the first of the next: 09:00 cancels', hourly, 30, 90, [1 / 2, 1 / 2]],
      [
        'a quarter of one and half of the next: of 09:00 a quarter is left',
        hourly,
        45,
        90,
        [1 / 4, 1 / 4, 1 / 2],
      ],
      ['half of one, from its first level on', hourly, 60, 90, [1 / 2, 1 / 2]],
      ['one, and half of the next', hourly, 0, 90, [1, 1 / 2, 1 / 2]],
      ['one between two halves', hourly, 30, 150, [1 / 2, 1 / 2, 1 / 2, 1 / 2]],
      ['half of the first, from before the drain was read', hourly, -60, 30, [1 / 2, 1 / 2]],
      ['up to a unit change, and half an hour of the new unit', unitChanged, 0, 150, [1, 1, 1 / 2, 1 / 2]],
      ['from a unit change on, half an hour', unitChanged, 120, 150, [1 / 2, 1 / 2]],
      ['an hour before a rise in doubt, and half an hour after', fallen, 0, 210, [1, 1, 1 / 2, 1 / 2]],
    ])('is that of %s', (_, story, from, to, factors) => {
      // Marks of 5 mL: u = 5 / √12 mL a level.
      const variance = factors.reduce((sum, factor) => sum + factor ** 2 * (5 ** 2 / 12), 0);
      expect((over(story, from, to)?.uncertainty ?? Number.NaN) / 1000).toBeCloseTo(
        2 * Math.sqrt(variance),
        9,
      );
    });

    const noUnit = [placed(), level('a', '08:00', 0), level('b', '09:00', 60), level('c', '10:00', 90)];

    it.each<[string, readonly Told[], number, number, readonly number[]]>([
      ['a unit set up after readings without one', [setUp('11:00', 0)], 240, 300, [1, 1]],
      ['the same, with an edge that cuts', [setUp('11:00', 0)], 240, 330, [1, 1 / 2, 1 / 2]],
      ['the same, from its opening on', [setUp('11:00', 0)], 180, 300, [1, 1]],
    ])(
      'is that of the levels in the span, whatever is not known of earlier ones: %s',
      (_, unit, from, to, factors) => {
        const story = [
          ...noUnit,
          ...unit,
          level('d', '12:00', 30),
          level('e', '13:00', 60),
          level('f', '14:00', 90),
        ];
        const variance = factors.reduce((sum, factor) => sum + factor ** 2 * (5 ** 2 / 12), 0);
        expect((over(story, from, to)?.uncertainty ?? Number.NaN) / 1000).toBeCloseTo(
          2 * Math.sqrt(variance),
          9,
        );
        expect(over(story, 0, to)?.uncertainty).toBeNull();
      },
    );

    it('is not known while no unit is', () => {
      for (const [from, to] of [
        [0, 60],
        [15, 45],
        [30, 90],
      ] as const)
        expect(over(noUnit, from, to)).toMatchObject({
          covered_ms: (to - from) * MINUTE_MS,
          uncertainty: null,
        });
    });
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

  it('knows nothing of what came before it, whatever that was', () => {
    fc.assert(
      fc.property(series, edges, fc.boolean(), (given, [from, to], isRead) => {
        const { story } = toldSeries(given);
        // Before 08:00: read without a unit, or not at all.
        const earlier = isRead ? [level('x', '06:00', 0), level('y', '07:00', 30)] : [];
        const before = [placed('06:00'), ...earlier, ...story.slice(1)];
        const first = given.minutes[0] ?? 0;
        const [start, end] = [first + Math.abs(from), first + Math.abs(from) + (to - from)];
        const [found, alone] = [over(before, start, end), over(story, start, end)];
        fc.pre(alone !== null);
        expect({ ...found, uncertainty: null }).toEqual({ ...alone, uncertainty: null });
        expect(found?.uncertainty ?? Number.NaN).toBeCloseTo(alone.uncertainty ?? Number.NaN, 6);
      }),
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

describe('the covered part of a time', () => {
  it.each([
    ['none of an hour', 0, 0],
    ['half of it', HOUR_MS / 2, 500],
    ['all but a millisecond, which is not all', HOUR_MS - 1, 999],
    ['all of it', HOUR_MS, 1000],
  ])('is in thousandths, %s', (_, coveredMs, thousandths) => {
    expect(coveredThousandths(coveredMs, HOUR_MS)).toBe(thousandths);
  });
});
