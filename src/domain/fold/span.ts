/**
 * What drained between two moments, out of whole intervals and the parts of those that an edge cuts.
 *
 * An edge stands right after the levels of its instant, so spans tile time as intervals do: what is instilled or
 * sampled at an instant follows that instant's levels. Drained volume is spread evenly over the unclamped time of its
 * interval; a cut interval is therefore interpolated, and gives bounds: left out, and counted whole. The part of a cut
 * interval that is longer than the limit is not covered; so is all of one that is not measured.
 */
import { type History, newestWhere } from '../numbers/history.ts';
import { add, type Rational, rational } from '../numbers/rational.ts';
import { type EpochMs, type Microlitres, microlitres } from '../numbers/units.ts';
import { clampedMs, type Interval, isMeasured, type LevelPoint, lengthMs } from './interval.ts';
import { flowSums, intervalSums, type SummedFlow, type SummedInterval } from './sums.ts';
import { expanded, isSame, levelVariance, type VarianceSum, varianceAfter, weighted } from './uncertainty.ts';

/** What a span is cut from. */
export interface Measured {
  readonly intervals: History<SummedInterval>;
  readonly flows: History<SummedFlow>;
}

export interface SpanSum {
  readonly from: EpochMs;
  readonly to: EpochMs;
  /** µL, exact. With coverage below the whole time all of these are lower bounds, as no time drains less than nothing. */
  readonly drained: Rational;
  readonly sampled: Microlitres;
  readonly instilled: Microlitres;
  readonly net: Rational;
  /** Net with cut intervals left out, and counted whole; no upper bound while any time is not covered. */
  readonly net_low: Microlitres;
  readonly net_high: Microlitres | null;
  readonly covered_ms: number;
  readonly interpolated: boolean;
  /** Expanded (k = 2), µL; reading error only. */
  readonly uncertainty: Microlitres | null;
}

/** @returns null while no part of the span is covered, nor anything known to have drained in it */
export function spanSum(measured: Measured, from: EpochMs, to: EpochMs, maxGapMs: number): SpanSum | null {
  const { intervals, flows } = measured;
  const last = newestWhere(intervals, ({ interval }) => interval.from.at < to);
  const first = newestWhere(last, ({ interval }) => interval.from.at < from);
  const cutsOf = (node: History<SummedInterval>, edge: EpochMs) =>
    node !== null && node.item.interval.to.at > edge;
  const startCut = cutsOf(first, from) ? partOf(first, from, to, maxGapMs) : NO_PART;
  const endCut = cutsOf(last, to) && last !== first ? partOf(last, from, to, maxGapMs) : NO_PART;
  const lastWhole = cutsOf(last, to) ? (last?.before ?? null) : last;
  const isWithinOne = first === last;
  const whole = isWithinOne ? NOTHING : difference(lastWhole, first);
  const coveredMs = whole.measuredMs + startCut.coveredMs + endCut.coveredMs;
  if (coveredMs === 0 && whole.drained === 0) return null;

  const { sampled, instilled } = flowsBetween(flows, from, to);
  const others = sampled - instilled;
  const drained = add(rational(whole.drained), add(startCut.drained, endCut.drained));
  const isCovered = coveredMs === to - from;
  return {
    from,
    to,
    drained,
    sampled,
    instilled,
    net: others === 0 ? drained : add(drained, rational(others)),
    net_low: microlitres(whole.drained + others),
    net_high: isCovered ? microlitres(whole.drained + others + startCut.whole + endCut.whole) : null,
    covered_ms: coveredMs,
    interpolated: startCut.coveredMs + endCut.coveredMs > 0,
    uncertainty: expanded(
      isWithinOne ? withinOne(startCut) : spanVariance(sumsOf(lastWhole), sumsOf(first), startCut, endCut),
    ),
  };
}

/** The covered part of a time in thousandths, rounded down: only all of it reads 1.000. */
export const coveredThousandths = (coveredMs: number, wholeMs: number): number =>
  Math.floor((coveredMs * 1000) / wholeMs);

const sumsOf = (node: History<SummedInterval>): VarianceSum => intervalSums(node).variance;

const NOTHING = { drained: 0, measuredMs: 0 };

function difference(newest: History<SummedInterval>, oldest: History<SummedInterval>) {
  const a = intervalSums(newest);
  const b = intervalSums(oldest);
  return { drained: a.drained - b.drained, measuredMs: a.measuredMs - b.measuredMs };
}

interface Part {
  readonly drained: Rational;
  readonly whole: number;
  readonly coveredMs: number;
  readonly cut: { readonly risesFrom: LevelPoint; readonly to: LevelPoint; readonly part: number } | null;
}

const NO_PART: Part = { drained: rational(0), whole: 0, coveredMs: 0, cut: null };

/** What of a cut interval lies between the edges. */
function partOf(node: History<SummedInterval>, from: EpochMs, to: EpochMs, maxGapMs: number): Part {
  if (node === null) return NO_PART;
  const { interval } = node.item;
  if (!isMeasured(interval) || lengthMs(interval) > maxGapMs) return NO_PART;
  const { drained, risesFrom } = interval;
  const start = Math.max(from, interval.from.at) as EpochMs;
  const end = Math.min(to, interval.to.at) as EpochMs;
  const [part, of] = openTime(interval, start, end);
  return {
    drained: { numerator: BigInt(drained) * BigInt(part), denominator: BigInt(of) },
    whole: drained,
    coveredMs: end - start,
    cut: { risesFrom, to: interval.to, part: part / of },
  };
}

/** Unclamped time between two moments and in all; clamped throughout, yet something drained: all time counts as open. */
function openTime(interval: Interval, start: EpochMs, end: EpochMs): readonly [number, number] {
  const open = lengthMs(interval) - clampedMs(interval, interval.from.at, interval.to.at);
  return open === 0
    ? [end - start, lengthMs(interval)]
    : [end - start - clampedMs(interval, start, end), open];
}

function withinOne({ cut }: Part): number {
  return cut === null ? 0 : weighted(cut.part, levelVariance(cut.risesFrom) + levelVariance(cut.to));
}

/** u² with both edges: the level that the end's interval rises from ends what is whole, coefficients 1 and -part. */
function spanVariance(upTo: VarianceSum, before: VarianceSum, start: Part, end: Part): number {
  const whole = varianceAfter(upTo, before, start.cut);
  if (end.cut === null) return whole;
  const { risesFrom, to, part } = end.cut;
  if (upTo.end === null || !isSame(upTo.end, risesFrom)) return whole + withinOne(end);
  const shared = upTo.end === before.end ? (start.cut?.part ?? 0) : 1;
  return (
    whole + ((shared - part) ** 2 - shared ** 2) * levelVariance(risesFrom) + part ** 2 * levelVariance(to)
  );
}

const NO_FLOWS = { sampled: microlitres(0), instilled: microlitres(0) };

/** Flows from an edge on, up to but not at the other: at an edge itself they follow its level. */
export function flowsBetween(flows: History<SummedFlow>, from: EpochMs, to: EpochMs) {
  if (flows === null) return NO_FLOWS;
  const upTo = flowSums(newestWhere(flows, (flow) => flow.at < to));
  const before = flowSums(newestWhere(flows, (flow) => flow.at < from));
  return {
    sampled: microlitres(upTo.sampled - before.sampled),
    instilled: microlitres(upTo.instilled - before.instilled),
  };
}
