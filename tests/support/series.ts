/** Generated drains that are read at odd minutes, with unit changes closed and opened, for sums over time. */
import fc from 'fast-check';
import type { UnitProfile } from '../../src/domain/vocabulary/unit-profile.ts';
import { changed, dec, level, placed, setUp, type Told, WET_UNIT } from './drain-script.ts';

/** A drain that is read every `minutes`, with a unit change closed and opened after some of the readings. */
export interface Series {
  readonly rises: readonly number[];
  readonly minutes: readonly number[];
  readonly changesAfter: readonly number[];
  readonly marks: number;
}

export const series: fc.Arbitrary<Series> = fc.record({
  rises: fc.array(fc.integer({ min: 10, max: 60 }), { minLength: 2, maxLength: 12 }),
  minutes: fc.array(fc.integer({ min: 15, max: 100 }), { minLength: 12, maxLength: 12 }),
  changesAfter: fc.uniqueArray(fc.integer({ min: 0, max: 11 }), { maxLength: 3 }),
  marks: fc.constantFrom(1, 2, 5),
});

export const marked = (marks: string): UnitProfile => ({
  ...WET_UNIT,
  graduations: [{ up_to_ml: dec(2000), mark_ml: dec(marks) }],
});

const clock = (minute: number) =>
  `+${Math.floor(minute / 1440)} ${new Date(minute * 60_000).toISOString().slice(11, 16)}`;

/** The series as a story from 08:00; `nudge` adds 1 mL to the level with that number. */
export function toldSeries(given: Series, nudge: number | null = null): { story: Told[]; levels: number } {
  const unit = marked(String(given.marks));
  let minute = 480;
  let ml = 0;
  let levels = 0;
  const read = (value: number) => {
    levels += 1;
    return levels - 1 === nudge ? value + 1 : value;
  };
  const story: Told[] = [placed(), setUp('08:00', read(0), unit)];
  given.rises.forEach((rise, i) => {
    minute += given.minutes[i] ?? 60;
    ml += rise;
    story.push(level(`r${i}`, clock(minute), read(ml)));
    if (!given.changesAfter.includes(i)) return;
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

/** U of a sum, k = 2, by moving each level 1 mL and seeing what the sum does: no look at how it is kept. */
export function uncertaintyByMoving(given: Series, sumOf: (story: readonly Told[]) => number): number {
  const { story, levels } = toldSeries(given);
  const base = sumOf(story);
  let squares = 0;
  for (let i = 0; i < levels; i += 1) squares += ((sumOf(toldSeries(given, i).story) - base) / 1000) ** 2;
  return 2 * Math.sqrt(squares * (given.marks ** 2 / 12));
}
