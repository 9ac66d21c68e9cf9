import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { derivedFacts } from '../../../src/domain/facts/derived-facts.ts';
import { isLowConfidence } from '../../../src/domain/fold/uncertainty.ts';
import { approximately } from '../../../src/domain/numbers/rational.ts';
import {
  changed,
  dec,
  instilled,
  level,
  placed,
  rowOf,
  setUp,
  type Told,
  WET_UNIT,
} from '../../support/drain-script.ts';

const millilitres = (uncertainty: number | null | undefined) => (uncertainty ?? Number.NaN) / 1000;

import { marked, series, toldSeries, uncertaintyByMoving } from '../../support/series.ts';

describe('the uncertainty of one interval (JCGM 100:2008, 4.3.7 and 5.1.2; k = 2; arithmetic ours)', () => {
  it.each([
    ['5', 4.082],
    ['1', 0.8165],
  ])('of two levels read to %s mL is %f mL', (marks, expected) => {
    const story = [placed(), setUp('08:00', 0, marked(marks)), level('a', '09:00', 100)];
    expect(millilitres(rowOf(story, 'a').volumes?.uncertainty.interval)).toBeCloseTo(expected, 3);
  });

  it('takes the graduation at each level: 5 mL below 200, 10 mL above', () => {
    const graduations = [
      { up_to_ml: dec(200), mark_ml: dec(5) },
      { up_to_ml: dec(2000), mark_ml: dec(10) },
    ];
    const story = [placed(), setUp('08:00', 200, { ...WET_UNIT, graduations }), level('a', '09:00', 210)];
    // 2 × √(25/12 + 100/12)
    expect(millilitres(rowOf(story, 'a').volumes?.uncertainty.interval)).toBeCloseTo(6.455, 3);
  });

  it('is that of the volume over the hours, and over the kilograms, for the rates', () => {
    const weighed: Told = { key: 'w', time: '08:00', says: { kind: 'weighed', weight_kg: dec(10) } };
    const { volumes } = rowOf([placed(), setUp('08:00', 0), weighed, level('a', '08:15', 10)], 'a');
    const rate = volumes?.rate;
    if (rate === undefined || rate.value === null || rate.per_kg.value === null) throw new Error('no rate');
    expect(rate.uncertainty).toBeCloseTo(16.33, 2);
    expect(rate.per_kg.uncertainty).toBeCloseTo(1.633, 3);
  });

  it('is not known while no unit is, or where the interval is indeterminate', () => {
    const noUnit = [placed(), level('a', '08:00', 0), level('b', '09:00', 50)];
    expect(rowOf(noUnit, 'b').volumes?.uncertainty).toEqual({
      interval: null,
      since_reading: null,
      cumulative: null,
    });
    const fall = [placed(), setUp('08:00', 100), level('a', '09:00', 50)];
    expect(rowOf(fall, 'a').volumes?.uncertainty.interval).toBeNull();
  });

  it('of a lower bound is that of the rise on the new scale', () => {
    const story = [
      placed(),
      setUp('08:00', 0),
      level('a', '09:00', 90),
      changed('u', '10:00', null, 0),
      level('b', '11:00', 30),
    ];
    expect(millilitres(rowOf(story, 'b').volumes?.uncertainty.interval)).toBeCloseTo(4.082, 3);
  });
});

describe('low confidence', () => {
  it('is a mark for the eye: U larger than the value, never at it', () => {
    expect(isLowConfidence(3, 4)).toBe(true);
    expect(isLowConfidence(-3, 4)).toBe(true);
    expect(isLowConfidence(4, 4)).toBe(false);
    expect(isLowConfidence(null, 4)).toBe(false);
    expect(isLowConfidence(3, null)).toBe(false);
  });

  it('stands on 3 mL in 24 h read to 5 mL, and changes no number', () => {
    const story = [placed(), setUp('08:00', 0), level('a', '+1 08:00', 3)];
    const facts = derivedFacts(rowOf(story, 'a'));
    expect(facts.find(({ name }) => name === 'net-drainage')).toMatchObject({
      value: { quantity: '3' },
      flags: ['low-confidence'],
    });
    expect(facts.find(({ name }) => name === 'net-drainage-24h')?.flags).toEqual(['low-confidence']);
  });
});

describe('the uncertainty of sums', () => {
  const last = (story: readonly Told[]) => {
    const keys = story.filter(({ key }) => key.startsWith('r'));
    const { volumes } = rowOf(story, keys.at(-1)?.key ?? '');
    if (volumes === null) throw new Error('the last reading ends an interval');
    return volumes;
  };

  it('follows each level with its coefficient, levels shared by two intervals cancelling', () => {
    fc.assert(
      fc.property(series, (given) => {
        const { story } = toldSeries(given);
        const { uncertainty, windows } = last(story);
        const cumulative = uncertaintyByMoving(given, (s) => last(s).cumulative.net);
        expect(millilitres(uncertainty.cumulative)).toBeCloseTo(cumulative, 6);
        for (const { hours, uncertainty: U } of windows) {
          const expected = uncertaintyByMoving(given, (s) => {
            const window = last(s).windows.find((w) => w.hours === hours);
            return window === undefined ? 0 : approximately(window.net);
          });
          expect(millilitres(U)).toBeCloseTo(expected, 6);
        }
      }),
      { numRuns: 100 },
    );
  });

  it('never shrinks where the marks are coarser', () => {
    fc.assert(
      fc.property(series, (given) => {
        const fine = last(toldSeries({ ...given, marks: 1 }).story).uncertainty.cumulative ?? Number.NaN;
        const coarse = last(toldSeries({ ...given, marks: 5 }).story).uncertainty.cumulative ?? Number.NaN;
        expect(coarse).toBeGreaterThan(fine);
      }),
      { numRuns: 50 },
    );
  });

  it('takes nothing from what was put in: a syringe is not read off the chamber', () => {
    const story = [placed(), setUp('08:00', 0), instilled('in', '08:30', 50), level('a', '09:00', 60)];
    expect(millilitres(rowOf(story, 'a').volumes?.uncertainty.interval)).toBeCloseTo(4.082, 3);
  });
});
