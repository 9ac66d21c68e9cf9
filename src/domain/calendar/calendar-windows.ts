/**
 * What one drain gave in a clock hour, a shift or a fluid-balance day, whose boundaries are given as moments.
 *
 * Only the time that the drain was in place counts: before its placement and after its removal nothing drains from it,
 * which is no gap. A sum that measured intervals do not cover for all that time is a lower bound, with the reasons.
 */
import type { DrainView } from '../fold/drain.ts';
import { type IntervalReason, isMeasured, lengthMs, type Span } from '../fold/interval.ts';
import { flowsBetween, type Measured, type SpanSum, spanSum } from '../fold/span.ts';
import type { FoldState } from '../fold/state.ts';
import { newestWhere } from '../numbers/history.ts';
import { add, type Rational, rational } from '../numbers/rational.ts';
import { type EpochMs, epochMs, microlitres } from '../numbers/units.ts';
import type { Settings } from '../vocabulary/settings.ts';

/** When a drain came in and went out. */
export type InPlace = Pick<DrainView, 'placedMs' | 'removedMs'>;

/** What windows are cut from, of all that a chart comes to. */
export interface SummedState extends Measured, Pick<FoldState, 'measuredFrom'> {
  readonly chamber: {
    readonly run: { readonly last: { readonly at: EpochMs } } | null;
    readonly unclosed: { readonly from: { readonly at: EpochMs } } | null;
  };
}

/** Why part of a window is not covered. */
export type UncoveredReason =
  | IntervalReason
  | 'suspect-rise'
  | 'gap-too-long'
  | 'before-first-level'
  | 'after-last-level'
  | 'no-level';

/** µL, exact; lower bounds while the window is not covered. */
export type WindowSum = Omit<SpanSum, 'from' | 'to' | 'covered_ms'>;

export interface CalendarWindow extends Span {
  /** Null while nothing is known to have gone in or out, and no time is covered. */
  readonly sum: WindowSum | null;
  /** Time of the window that the drain was in place, and how much of it measured intervals cover. */
  readonly in_place_ms: number;
  readonly covered_ms: number;
  readonly uncovered: readonly UncoveredReason[];
  /** No level at or after its end counts yet, and the drain is still in. */
  readonly preliminary: boolean;
}

/** @returns null where the drain was not in place in any of it */
export function calendarWindow(
  state: SummedState,
  drain: InPlace,
  window: Span,
  { max_gap_ms: maxGapMs }: Settings,
): CalendarWindow | null {
  const from = epochMs(Math.max(window.from, drain.placedMs ?? Infinity));
  const to = epochMs(Math.min(window.to, drain.removedMs ?? Infinity));
  if (from > to || from >= window.to) return null;
  const spanned = from === to ? null : spanSum(state, from, to, maxGapMs);
  // What is taken out at the removal itself is the drain's, though no time follows.
  const flows = flowsBetween(state.flows, from, window.to);
  const hasFlows = flows.sampled > 0 || flows.instilled > 0;
  if (from === to && !hasFlows) return null;
  const closed = closedUntil(state, drain);
  return {
    from: window.from,
    to: window.to,
    sum: spanned === null && !hasFlows ? null : windowSum(spanned, flows, from === to),
    in_place_ms: to - from,
    covered_ms: spanned?.covered_ms ?? 0,
    uncovered: uncoveredReasons(state, { from, to }, maxGapMs),
    preliminary: closed === null || closed < window.to,
  };
}

function windowSum(
  spanned: ReturnType<typeof spanSum>,
  { sampled, instilled }: ReturnType<typeof flowsBetween>,
  isInstant: boolean,
): WindowSum {
  const others = sampled - instilled;
  if (spanned === null) {
    const net = microlitres(others);
    return {
      drained: rational(0),
      sampled,
      instilled,
      net: rational(net),
      net_low: net,
      net_high: isInstant ? net : null,
      interpolated: false,
      uncertainty: microlitres(0),
    };
  }
  const moved = others - (spanned.sampled - spanned.instilled);
  return {
    drained: spanned.drained,
    sampled,
    instilled,
    net: add(spanned.drained, rational(others)),
    net_low: microlitres(spanned.net_low + moved),
    net_high: spanned.net_high === null ? null : microlitres(spanned.net_high + moved),
    interpolated: spanned.interpolated,
    uncertainty: spanned.uncertainty,
  };
}

/** The time of the newest level that counts; null while there is none. */
export function newestLevelAt({ chamber, intervals }: SummedState): EpochMs | null {
  const times = [chamber.run?.last.at, chamber.unclosed?.from.at, intervals?.item.interval.to.at];
  const newest = Math.max(...times.map((time) => time ?? -Infinity));
  return newest === -Infinity ? null : epochMs(newest);
}

/** Up to when no further level is awaited: the newest level, before it the placement; for ever once the drain is out. */
export function closedUntil(state: SummedState, { placedMs, removedMs }: InPlace): EpochMs | null {
  if (removedMs !== null) return epochMs(Infinity);
  return newestLevelAt(state) ?? placedMs;
}

/** Sorted, each once. Levels tile the time from the first to the last, so what is not measured lies in some interval. */
function uncoveredReasons(state: SummedState, part: Span, maxGapMs: number): readonly UncoveredReason[] {
  const newest = newestLevelAt(state);
  if (part.from === part.to) return [];
  if (newest === null) return ['no-level'];
  const reasons = new Set<UncoveredReason>();
  if ((state.measuredFrom?.ms ?? newest) > part.from) reasons.add('before-first-level');
  if ((state.intervals?.item.interval.to.at ?? newest) < part.to) reasons.add('after-last-level');
  let node = newestWhere(state.intervals, ({ interval }) => interval.from.at < part.to);
  for (; node !== null && node.item.interval.to.at > part.from; node = node.before) {
    const { interval } = node.item;
    if (interval.reason !== null) reasons.add(interval.reason);
    if (interval.suspect) reasons.add('suspect-rise');
    const isCut = interval.from.at < part.from || interval.to.at > part.to;
    if (isMeasured(interval) && isCut && lengthMs(interval) > maxGapMs) reasons.add('gap-too-long');
  }
  return [...reasons].sort();
}

export type WindowRate =
  | { readonly value: Rational; readonly uncertainty: number | null }
  | { readonly value: null; readonly reason: 'not-covered' | 'not-in-place-throughout' | 'window-too-short' };

/**
 * Net over the whole elapsed time of a window, mL/h: (µL / 1000) / (ms / 3,600,000). A lower bound has none, nor has a
 * window in which a drain came or went; `uncertainty` is that of the sum over the same time.
 * @param drainsInPlace how many drains the sum is of
 */
export function windowRate(
  window: Span & Pick<CalendarWindow, 'sum' | 'in_place_ms' | 'covered_ms'>,
  drainsInPlace: number,
  { min_rate_interval_ms: shortest }: Settings,
): WindowRate {
  const { sum, in_place_ms: inPlace, covered_ms: covered } = window;
  const elapsed = lengthOf(window);
  if (sum === null || covered < inPlace) return { value: null, reason: 'not-covered' };
  if (inPlace < drainsInPlace * elapsed) return { value: null, reason: 'not-in-place-throughout' };
  if (elapsed < shortest) return { value: null, reason: 'window-too-short' };
  return {
    value: { numerator: sum.net.numerator * 3600n, denominator: sum.net.denominator * BigInt(elapsed) },
    uncertainty: sum.uncertainty === null ? null : (sum.uncertainty * 3600) / elapsed,
  };
}

export const lengthOf = ({ from, to }: Span): number => to - from;
