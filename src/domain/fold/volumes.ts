/** What a level that ends an interval gives: row, rates, cumulative sum and windows, as of that level. */

import { microlitres } from '../numbers/units.ts';
import type { Settings } from '../vocabulary/settings.ts';
import type { Circumstances } from './circumstances.ts';
import type { Interval, LevelPoint } from './interval.ts';
import { rateOf } from './rate.ts';
import type { Cumulative, Volumes } from './row.ts';
import type { FoldState } from './state.ts';
import { intervalSums } from './sums.ts';
import {
  expanded,
  intervalUncertainty,
  NO_VARIANCE,
  type VarianceSum,
  varianceOf,
  withVariance,
} from './uncertainty.ts';
import { trailingWindow, type Window } from './windows.ts';

/**
 * @param state after the interval was added
 * @param sinceReading the intervals since the last reading that had a level, this one included
 */
export function volumesAt(
  state: FoldState,
  interval: Interval,
  sinceReading: readonly Interval[],
  circumstances: Circumstances,
): Volumes {
  const { settings } = circumstances;
  const since = merged(sinceReading);
  const uncertainty = {
    interval: intervalUncertainty(interval),
    // Of a volume that is not known no part may stand for the whole.
    since_reading:
      since.drained === null ? null : expanded(varianceOf(sinceReading.reduce(withInterval, NO_VARIANCE))),
    cumulative: expanded(varianceOf(intervalSums(state.intervals).variance)),
  };
  const rate = rateOf(interval, uncertainty.interval, circumstances);
  const volumes = {
    interval,
    rate,
    since_reading: since,
    uncertainty,
    since_reading_rate: since === interval ? rate : rateOf(since, uncertainty.since_reading, circumstances),
    cumulative: cumulativeOf(state),
  };
  return withWindows(volumes, { state, settings });
}

/** What the windows are worked out from: no value of a row. */
const SUMMED = Symbol('summed');
interface Summed {
  readonly state: FoldState;
  readonly settings: Settings;
}

/**
 * Worked out when looked at: a fold passes most rows without a look, and kept they would outweigh all else. One function
 * for all rows, as with one of its own each row would take half as much memory again.
 */
const WINDOWS: PropertyDescriptor & ThisType<Volumes & { readonly [SUMMED]: Summed }> = {
  enumerable: true,
  get() {
    if (lookedAt.volumes !== this)
      lookedAt = { volumes: this, windows: windowsTo(this.interval.to, this[SUMMED]) };
    return lookedAt.windows;
  },
};

/** Facts and receipt look at the windows of a row one after the other: those of the last row are kept. */
let lookedAt: { readonly volumes: Volumes | null; readonly windows: readonly Window[] } = {
  volumes: null,
  windows: [],
};

function windowsTo(end: LevelPoint, { state, settings }: Summed): readonly Window[] {
  return settings.trailing_hours.flatMap((hours) => trailingWindow(state, end, hours, settings) ?? []);
}

function withWindows(volumes: Omit<Volumes, 'windows'>, summed: Summed): Volumes {
  // Not enumerable: whoever compares or writes rows is not to come by the whole past of each.
  Object.defineProperty(volumes, SUMMED, { value: summed });
  return Object.defineProperty(volumes, 'windows', WINDOWS) as Volumes;
}

function cumulativeOf(state: FoldState): Cumulative {
  const { drained, sampled, instilled, suspect } = intervalSums(state.intervals);
  if (state.measuredFrom === null)
    throw new Error('a cumulative sum was asked for before any interval ended');
  return {
    from: state.measuredFrom.ms,
    from_text: state.measuredFrom.text,
    drained: microlitres(drained),
    sampled: microlitres(sampled),
    instilled: microlitres(instilled),
    net: microlitres(drained + sampled - instilled),
    suspect: microlitres(suspect),
    reasons: state.incomplete,
  };
}

const withInterval = (sum: VarianceSum, { risesFrom, to }: Interval): VarianceSum =>
  risesFrom === null ? sum : withVariance(sum, risesFrom, to);

/** Intervals that follow one another, as one: unknown if any is unknown, a lower bound if any is one. */
function merged(intervals: readonly Interval[]): Interval {
  const [first] = intervals;
  const last = intervals.at(-1);
  if (first === undefined || last === undefined) throw new Error('no interval to merge');
  if (first === last) return first;
  const vague = intervals.find((i) => i.drained === null) ?? intervals.find((i) => i.status === 'at-least');
  const sum = (part: (i: Interval) => number) =>
    microlitres(intervals.reduce((total, i) => total + part(i), 0));
  return {
    from: first.from,
    to: last.to,
    status: vague?.status ?? 'measured',
    reason: vague?.reason ?? null,
    risesFrom: first.risesFrom,
    suspect: intervals.some((i) => i.suspect),
    drained: vague?.drained === null ? null : sum((i) => i.drained ?? 0),
    sampled: sum((i) => i.sampled),
    instilled: sum((i) => i.instilled),
    clamped: intervals.flatMap((i) => i.clamped),
  };
}
