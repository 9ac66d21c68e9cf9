/**
 * Generated stories in which every interval is measured: levels rise, unit changes state both levels, and nothing
 * is corrected. All figures are invented.
 */
import fc from 'fast-check';
import {
  changed,
  clamped,
  instilled,
  level,
  placed,
  sampled,
  setUp,
  type Told,
  unclamped,
} from './drain-script.ts';
import { minute } from './ledgers.ts';

/** One stretch of a story, which ends with a reading. */
interface Step {
  /** Minutes since the step before; one or more. */
  readonly gap: number;
  /** Rise of the level, in graduations of 5 mL. */
  readonly marks: number;
  readonly change: boolean;
  readonly instilled: number | undefined;
  readonly sampled: number | undefined;
  /** Minutes from the start of the step to a clamp, and from there to its end; within the step or not. */
  readonly clamp: readonly [number, number] | undefined;
}

const seldom = <T>(value: fc.Arbitrary<T>) =>
  fc.oneof({ weight: 3, arbitrary: fc.constant(undefined) }, { weight: 1, arbitrary: value });

const step = (longest: number): fc.Arbitrary<Step> =>
  fc.record({
    gap: fc.integer({ min: 2, max: longest }),
    marks: fc.integer({ min: 0, max: 12 }),
    change: fc.integer({ min: 0, max: 5 }).map((n) => n === 0),
    instilled: seldom(fc.integer({ min: 1, max: 60 })),
    sampled: seldom(fc.integer({ min: 1, max: 20 })),
    clamp: seldom(fc.tuple(fc.integer({ min: 0, max: longest }), fc.integer({ min: 1, max: longest }))),
  });

/** Minutes after 08:00 of the readings and of all else, with the story itself. */
export interface MeasuredDrain {
  readonly story: readonly Told[];
  readonly readingMinutes: readonly number[];
}

/** @param longest the most minutes between two readings */
export const measuredDrain = (longest: number): fc.Arbitrary<MeasuredDrain> =>
  fc.array(step(longest), { minLength: 2, maxLength: 14, size: 'max' }).map(tellSteps);

function tellSteps(steps: readonly Step[]): MeasuredDrain {
  const story: Told[] = [placed(), setUp('08:00', 0)];
  const readingMinutes: number[] = [];
  let now = 0;
  let mark = 0;
  for (const [n, { gap, marks, change, instilled: flush, sampled: sample, clamp }] of steps.entries()) {
    const end = now + gap;
    const middle = now + Math.floor(gap / 2);
    if (flush !== undefined) story.push(instilled(`instilled-${n}`, minute(now), flush));
    if (sample !== undefined) story.push(sampled(`sampled-${n}`, minute(middle), sample));
    if (clamp !== undefined) {
      story.push(clamped(`clamped-${n}`, minute(Math.min(end, now + clamp[0]))));
      story.push(unclamped(`unclamped-${n}`, minute(Math.min(end, now + clamp[0] + clamp[1]))));
    }
    if (change) {
      mark += Math.floor(marks / 2);
      story.push(changed(`changed-${n}`, minute(middle), mark * 5, 20));
      mark = 4 + Math.ceil(marks / 2);
    } else mark += marks;
    story.push(level(`reading-${n}`, minute(end), mark * 5));
    readingMinutes.push(end);
    now = end;
  }
  return { story, readingMinutes };
}
