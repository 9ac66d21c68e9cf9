import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { derivedFacts } from '../../src/domain/derived-facts.ts';
import { approximately } from '../../src/domain/rational.ts';
import { isLowConfidence } from '../../src/domain/uncertainty.ts';
import type { UnitProfile } from '../../src/domain/unit-profile.ts';
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
} from '../support/drain-script.ts';

const marked = (marks: string): UnitProfile => ({
  ...WET_UNIT,
  graduations: [{ up_to_ml: dec(2000), mark_ml: dec(marks) }],
});
const millilitres = (uncertainty: number | null | undefined) => (uncertainty ?? Number.NaN) / 1000;

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

/** A drain that is read every `minutes`, with a unit change closed and opened at some of the readings. */
interface Series {
  readonly rises: readonly number[];
  readonly minutes: readonly number[];
  readonly changesAfter: readonly number[];
  readonly marks: number;
}

const series: fc.Arbitrary<Series> = fc.record({
  rises: fc.array(fc.integer({ min: 10, max: 60 }), { minLength: 2, maxLength: 12 }),
  minutes: fc.array(fc.integer({ min: 15, max: 100 }), { minLength: 12, maxLength: 12 }),
  changesAfter: fc.uniqueArray(fc.integer({ min: 0, max: 11 }), { maxLength: 3 }),
  marks: fc.constantFrom(1, 2, 5),
});

const clock = (minute: number) =>
  `+${Math.floor(minute / 1440)} ${new Date(minute * 60_000).toISOString().slice(11, 16)}`;

/** Levels in µL in the order they are read; `nudge` adds 1 mL to one of them. */
function told(
  { rises, minutes, changesAfter, marks }: Series,
  nudge: number | null,
): { story: Told[]; levels: number } {
  const unit = marked(String(marks));
  let minute = 480;
  let ml = 0;
  let levels = 0;
  const read = (value: number) => {
    levels += 1;
    return levels - 1 === nudge ? value + 1 : value;
  };
  const story: Told[] = [placed(), setUp('08:00', read(0), unit)];
  rises.forEach((rise, i) => {
    minute += minutes[i] ?? 60;
    ml += rise;
    story.push(level(`r${i}`, clock(minute), read(ml)));
    if (!changesAfter.includes(i)) return;
    minute += 20;
    ml += 10;
    const [closing, opening] = [read(ml), read(0)];
    const { says } = changed(`u${i}`, clock(minute), closing, opening) as Told & { says: object };
    story.push({
      key: `u${i}`,
      time: clock(minute),
      says: { ...says, unit_profile: unit, profile: unit.id },
    } as Told);
    ml = 0;
  });
  return { story, levels };
}

describe('the uncertainty of sums', () => {
  /** By moving each level a little and seeing what the sum does: its coefficients, with no look at how they are kept. */
  function fromCoefficients(given: Series, sumOf: (story: readonly Told[]) => number): number {
    const { story, levels } = told(given, null);
    const base = sumOf(story);
    let squares = 0;
    for (let i = 0; i < levels; i += 1) squares += ((sumOf(told(given, i).story) - base) / 1000) ** 2;
    return 2 * Math.sqrt(squares * (given.marks ** 2 / 12));
  }

  const last = (story: readonly Told[]) => {
    const keys = story.filter(({ key }) => key.startsWith('r'));
    const { volumes } = rowOf(story, keys.at(-1)?.key ?? '');
    if (volumes === null) throw new Error('the last reading ends an interval');
    return volumes;
  };

  it('follows each level with its coefficient, levels shared by two intervals cancelling', () => {
    fc.assert(
      fc.property(series, (given) => {
        const { story } = told(given, null);
        const { uncertainty, windows } = last(story);
        const cumulative = fromCoefficients(given, (s) => last(s).cumulative.net);
        expect(millilitres(uncertainty.cumulative)).toBeCloseTo(cumulative, 6);
        for (const { hours, uncertainty: U } of windows) {
          const expected = fromCoefficients(given, (s) => {
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
        const fine = last(told({ ...given, marks: 1 }, null).story).uncertainty.cumulative ?? Number.NaN;
        const coarse = last(told({ ...given, marks: 5 }, null).story).uncertainty.cumulative ?? Number.NaN;
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
