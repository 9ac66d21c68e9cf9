import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { mannKendall } from '../../../src/domain/assessment/mann-kendall.ts';

/** All arrangements of a list, straight from the definition. */
function arrangements(values: readonly number[]): number[][] {
  if (values.length === 0) return [[]];
  return values.flatMap((value, i) => arrangements(values.toSpliced(i, 1)).map((rest) => [value, ...rest]));
}

describe('Mann-Kendall', () => {
  it('gives S = -13 for leak grades 4,4,3,3,2,1 (15 pairs, 2 ties; arithmetic from the definition)', () => {
    // 2 of the 180 distinct arrangements are as strong.
    const { s, p, exact } = mannKendall([4, 4, 3, 3, 2, 1]);
    expect(s).toBe(-13);
    expect(p).toBeCloseTo(2 / 180, 12);
    expect(exact).toBe(true);
  });

  it('agrees with the permutation distribution counted by hand, ties included', () => {
    fc.assert(
      fc.property(fc.array(fc.integer({ min: 0, max: 3 }), { minLength: 2, maxLength: 6 }), (values) => {
        const { s, p } = mannKendall(values);
        const all = arrangements(values).map((arrangement) => mannKendall(arrangement).s);
        const asStrong = all.filter((other) => Math.abs(other) >= Math.abs(s)).length;
        expect(p).toBeCloseTo(asStrong / all.length, 12);
      }),
      { numRuns: 60 },
    );
  });

  it('is normal beyond 10 values, corrected for ties and continuity', () => {
    // Variance and p worked out with scipy 1.17 (general statistics library): 200.6667, z = -3.600249, p = 0.000317912.
    const { s, p, exact } = mannKendall([5, 4, 4, 3, 4, 3, 2, 2, 1, 2, 1, 1]);
    expect(s).toBe(-52);
    expect(p).toBeCloseTo(0.000317912, 8);
    expect(exact).toBe(false);
  });

  it('is exact up to 10 values: of 10! arrangements only the falling and the rising one are as strong', () => {
    expect(mannKendall([10, 9, 8, 7, 6, 5, 4, 3, 2, 1])).toEqual({ s: -45, p: 2 / 3_628_800, exact: true });
    expect(mannKendall([11, 10, 9, 8, 7, 6, 5, 4, 3, 2, 1]).exact).toBe(false);
  });

  it('is certain of no trend where later values lie above as often as below', () => {
    expect(mannKendall([1, 2, 3, 4, 5, 6, 6, 5, 4, 3, 2, 1])).toEqual({ s: 0, p: 1, exact: false });
  });

  it('shows no trend where all are equal', () => {
    expect(mannKendall([2, 2, 2, 2, 2])).toEqual({ s: 0, p: 1, exact: true });
    expect(mannKendall(new Array<number>(12).fill(2))).toEqual({ s: 0, p: 1, exact: false });
  });

  it('is symmetric: the reverse order has the opposite S and the same p', () => {
    fc.assert(
      fc.property(fc.array(fc.integer({ min: 0, max: 5 }), { minLength: 2, maxLength: 20 }), (values) => {
        const forward = mannKendall(values);
        const backward = mannKendall(values.toReversed());
        expect(backward.s).toBe(forward.s === 0 ? 0 : -forward.s);
        expect(backward.p).toBe(forward.p);
      }),
    );
  });
});
