/** The newest part of a chart: what charting in order needs, and no way to take it for the whole. */
import { append, cutList, type History, isAtHand, newestItems } from '../numbers/history.ts';
import { type EpochMs, epochMs } from '../numbers/units.ts';
import type { Item } from './chains.ts';
import { type Chart, type Instant, instantUpTo } from './chart.ts';
import type { SummedInterval } from './sums.ts';

/** How much of a chart is kept. */
export interface Recent {
  readonly instants: number;
  /** How far back before the first of them sums reach, ms. */
  readonly sums_ms: number;
}

/**
 * The newest instants of a chart, sums that reach further, and what is asked of some earlier moments. What is charted later than its
 * first instant folds onto it as onto the whole; whoever needs an earlier instant is thrown {@link BeyondRecent}.
 */
export function recentChart(chart: Chart, recent: Recent, moments: readonly EpochMs[]): Chart {
  if (chart.instants === null || chart.instants.length <= recent.instants) return chart;
  const newest = newestItems(chart.instants, recent.instants);
  const cut = newest.at(-1)?.at ?? epochMs(Infinity);
  // Earlier ones only: what lies before the cut cannot change without a look at it, and what lies after it may.
  const pinned = moments
    .filter((at) => at < cut)
    .map((at): [EpochMs, Instant | null] => [at, instantUpTo(chart, at)]);
  const sums = sumsFrom(newest.at(-1)?.state.intervals ?? null, epochMs(cut - recent.sums_ms));
  return {
    instants: cutList(sums === null ? newest : withSums(newest, sums)),
    doubts: chart.doubts,
    pinned: new Map(pinned),
    sumsSince: sums?.since ?? chart.sumsSince,
  };
}

interface Sums {
  readonly intervals: History<SummedInterval>;
  readonly since: EpochMs;
}

/** The end of a list of sums, from the second interval that begins before a moment; null where that is all of it. */
function sumsFrom(intervals: History<SummedInterval>, moment: EpochMs): Sums | null {
  const kept: SummedInterval[] = [];
  let earlier = 0;
  let node = intervals;
  for (; isAtHand(node) && earlier < 2; node = node.before) {
    kept.push(node.item);
    if (node.item.interval.from.at < moment) earlier += 1;
  }
  const first = kept.at(-1);
  if (node === null || first === undefined) return null;
  return { intervals: cutList(kept), since: epochMs(first.interval.from.at + 1) };
}

/** The same instants, the newest first, their sums going on from those of the oldest. */
function withSums(newest: readonly Instant[], sums: Sums): readonly Instant[] {
  let was = newest.at(-1)?.state.intervals ?? null;
  let { intervals } = sums;
  const instants = newest.toReversed().map((instant): Instant => {
    const added: SummedInterval[] = [];
    for (let node = instant.state.intervals; node !== null && node !== was; node = node.before)
      added.push(node.item);
    intervals = added.reduceRight<typeof intervals>((list, item) => append(list, item), intervals);
    was = instant.state.intervals;
    return { ...instant, state: { ...instant.state, intervals } };
  });
  return instants.reverse();
}

/** The statements of the newest instants, so many at most. */
export const newestStatements = ({ instants }: Chart, most: number): readonly Item[] =>
  newestItems(instants, most).flatMap(({ items }) => items);
