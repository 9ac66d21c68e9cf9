/**
 * Drainage over a trailing window, ending at the level that was just taken.
 *
 * A window edge stands right after the levels of its instant, so windows tile time as intervals do: what is
 * instilled or sampled at an instant follows that instant's levels. Drained volume is spread evenly over the
 * unclamped time of its interval; the edge that cuts an interval therefore interpolates, and carries bounds.
 */
import { type History, newestWhere } from './history.ts';
import { writeInstantLike } from './instant.ts';
import { clampedMs, type Interval, isMeasured, type LevelPoint, lengthMs } from './interval.ts';
import { add, type Rational, rational } from './rational.ts';
import type { Settings } from './settings.ts';
import { flowSums, intervalSums, type SummedFlow, type SummedInterval } from './sums.ts';
import { expanded, varianceAfter } from './uncertainty.ts';
import { type EpochMs, epochMs, HOUR_MS, type Microlitres, microlitres } from './units.ts';

export interface Window {
  readonly hours: number;
  readonly from: EpochMs;
  readonly to: EpochMs;
  /** Written in the offset of the level that ends the window. */
  readonly from_text: string;
  readonly to_text: string;
  /** µL, exact. With coverage below 1 all of these are lower bounds, as no time drains less than nothing. */
  readonly drained: Rational;
  readonly sampled: Microlitres;
  readonly instilled: Microlitres;
  readonly net: Rational;
  /** Net with the cut interval left out, and counted whole; no upper bound while any time is not covered. */
  readonly net_low: Microlitres;
  readonly net_high: Microlitres | null;
  readonly covered_ms: number;
  readonly interpolated: boolean;
  /** Expanded (k = 2), µL; reading error only. */
  readonly uncertainty: Microlitres | null;
}

/** @returns null while no part of the window is covered */
export function trailingWindow(
  intervals: History<SummedInterval>,
  flows: History<SummedFlow>,
  hours: number,
  settings: Settings,
): Window | null {
  if (intervals === null) return null;
  const { at: to, at_text: to_text } = intervals.item.interval.to;
  const from = epochMs(to - hours * HOUR_MS);
  const edge = newestWhere(intervals, ({ interval }) => interval.from.at < from);
  const cut = edge !== null && edge.item.interval.to.at > from ? edge.item.interval : null;
  const before = cut === null ? edge : (edge?.before ?? null);

  const whole = subtract(intervals, cut === null ? before : edge);
  const part = cut === null ? UNCOVERED : partAfter(cut, from, settings);
  const coveredMs = whole.measuredMs + part.coveredMs;
  if (coveredMs === 0 && whole.drained === 0) return null;

  const { sampled, instilled } = flowsSince(flows, from);
  const others = sampled - instilled;
  const complete = coveredMs === to - from;
  return {
    hours,
    from,
    to,
    from_text: writeInstantLike(from, to_text),
    to_text,
    drained: add(rational(whole.drained), part.drained),
    sampled,
    instilled,
    net: add(rational(whole.drained + others), part.drained),
    net_low: microlitres(whole.drained + others),
    net_high: complete ? microlitres(whole.drained + others + part.whole) : null,
    covered_ms: coveredMs,
    interpolated: part.coveredMs > 0,
    uncertainty: expanded(
      varianceAfter(intervalSums(intervals).variance, intervalSums(edge).variance, part.cut),
    ),
  };
}

function subtract(newest: History<SummedInterval>, oldest: History<SummedInterval>) {
  const a = intervalSums(newest);
  const b = intervalSums(oldest);
  return { drained: a.drained - b.drained, measuredMs: a.measuredMs - b.measuredMs };
}

interface Part {
  readonly drained: Rational;
  readonly whole: number;
  readonly coveredMs: number;
  readonly cut: { readonly risesFrom: LevelPoint; readonly part: number } | null;
}

const UNCOVERED: Part = { drained: rational(0), whole: 0, coveredMs: 0, cut: null };

/** What of a cut interval lies after the edge: nothing where the interval is not measured or longer than the limit. */
function partAfter(cut: Interval, edge: EpochMs, settings: Settings): Part {
  if (!isMeasured(cut) || cut.drained === null || lengthMs(cut) > settings.max_gap_ms) return UNCOVERED;
  const after = cut.to.at - edge;
  const open = lengthMs(cut) - clampedMs(cut, cut.from.at, cut.to.at);
  // Clamped throughout, yet something drained: there is no open time to spread it over.
  const [part, of] = open === 0 ? [after, lengthMs(cut)] : [after - clampedMs(cut, edge, cut.to.at), open];
  const { risesFrom } = cut;
  return {
    drained: scaled(cut.drained, part, of),
    whole: cut.drained,
    coveredMs: after,
    cut: risesFrom === null ? null : { risesFrom, part: part / of },
  };
}

/** volume × part / whole, exactly. */
function scaled(volume: Microlitres, part: number, whole: number): Rational {
  return { numerator: BigInt(volume) * BigInt(part), denominator: BigInt(whole) };
}

/** Flows at or after the edge: at the edge itself they follow its level. */
function flowsSince(flows: History<SummedFlow>, edge: EpochMs) {
  const all = flowSums(flows);
  const before = flowSums(newestWhere(flows, (flow) => flow.at < edge));
  return {
    sampled: microlitres(all.sampled - before.sampled),
    instilled: microlitres(all.instilled - before.instilled),
  };
}
