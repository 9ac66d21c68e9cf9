/** Whether what drained in the trailing 24 elapsed hours meets a limit, as of the newest level. */
import { calendarWindow, newestLevelAt, type WindowSum } from '../calendar/calendar-windows.ts';
import type { Circumstances } from '../fold/circumstances.ts';
import type { Span } from '../fold/interval.ts';
import type { Row } from '../fold/row.ts';
import type { FoldState } from '../fold/state.ts';
import { type NoWeightReason, type Weight, weightFor } from '../fold/weight.ts';
import { compare } from '../numbers/compare.ts';
import { add, approximately, type Rational, rational } from '../numbers/rational.ts';
import { type EpochMs, epochMs, HOUR_MS } from '../numbers/units.ts';
import { isTooOld } from './removal-age.ts';
import type { VolumeLimit } from './removal-policies.ts';

export type Status = 'met' | 'not-met' | 'not-known';

export type NoVolumeReason =
  | 'no-level'
  | 'not-in-place-throughout'
  | 'not-covered'
  | 'uncertainty-not-known'
  | 'within-uncertainty'
  | 'net-and-drained-differ'
  | 'assessed-too-long-ago'
  | NoWeightReason;

/** The two volumes that are held to the limit: net, and drained + sampled, which a flush does not lower. */
export interface VolumesCompared {
  readonly window: Span;
  readonly sum: WindowSum;
  /** µL, exact. */
  readonly drained_and_sampled: Rational;
  /** What the volumes are divided by where the limit is by weight; null where it is not. */
  readonly weight: Weight | null;
  /** Part of the time is not covered: the volumes are lower bounds. */
  readonly at_least: boolean;
}

export interface VolumeCriterion {
  readonly criterion: 'volume';
  readonly status: Status;
  readonly reason: NoVolumeReason | null;
  readonly limit: VolumeLimit;
  readonly compared: VolumesCompared | null;
  readonly entries: readonly string[];
}

const WINDOW_HOURS = 24;

/**
 * Met only if net and drained + sampled both meet it by more than their expanded uncertainty, not met if neither does
 * by more than that, else not known. A lower bound never meets it, and may show that it is not met; nor do levels
 * meet it that end long before what was charted last.
 */
export function volumeCriterion(
  limit: VolumeLimit,
  state: FoldState,
  rows: readonly Row[],
  circumstances: Circumstances,
  now: EpochMs,
): VolumeCriterion {
  const { placedAt: placedMs, removedAt: removedMs, population, weights, settings } = circumstances;
  const to = newestLevelAt(state);
  const unknown = (reason: NoVolumeReason): VolumeCriterion => ({
    criterion: 'volume',
    status: 'not-known',
    reason,
    limit,
    compared: null,
    entries: [],
  });
  if (to === null) return unknown('no-level');
  const window = { from: epochMs(to - WINDOW_HOURS * HOUR_MS), to };
  const found = calendarWindow(state, { placedMs, removedMs }, window, settings);
  if (found === null) return unknown('not-in-place-throughout');
  if (found.sum === null) return unknown('not-covered');
  const weight = limit.unit === 'mL' ? null : weightFor(window.from, population, weights, settings);
  if (typeof weight === 'string') return unknown(weight);
  const compared: VolumesCompared = {
    window,
    sum: found.sum,
    drained_and_sampled: add(found.sum.drained, rational(found.sum.sampled)),
    weight,
    at_least: found.covered_ms < WINDOW_HOURS * HOUR_MS,
  };
  const isYoung = found.in_place_ms < WINDOW_HOURS * HOUR_MS;
  return {
    criterion: 'volume',
    limit,
    compared,
    ...decided(limit, compared, isYoung ? 'not-in-place-throughout' : 'not-covered', now),
    entries: [...entriesBehind(rows, window), ...(weight === null ? [] : [weight.id])],
  };
}

function decided(
  limit: VolumeLimit,
  { window, sum, drained_and_sampled: gross, weight, at_least: atLeast }: VolumesCompared,
  whyAtLeast: NoVolumeReason,
  now: EpochMs,
): Pick<VolumeCriterion, 'status' | 'reason'> {
  // mL by weight: (mL/kg) (g / 1000) = mL; and 1000 µL are a mL.
  const threshold = weight === null ? limit.threshold * 1000 : limit.threshold * weight.weight;
  const both = [sum.net, gross].map((volume) =>
    compare(approximately(volume), sum.uncertainty, limit.operator, threshold),
  );
  if (sum.uncertainty === null) return { status: 'not-known', reason: 'uncertainty-not-known' };
  if (both.every(({ crossed, within_uncertainty: open }) => !crossed && !open))
    return { status: 'not-met', reason: null };
  if (atLeast) return { status: 'not-known', reason: whyAtLeast };
  if (both.some(({ within_uncertainty: open }) => open))
    return { status: 'not-known', reason: 'within-uncertainty' };
  if (!both.every(({ crossed }) => crossed)) return { status: 'not-known', reason: 'net-and-drained-differ' };
  return isTooOld(window.to, now)
    ? { status: 'not-known', reason: 'assessed-too-long-ago' }
    : { status: 'met', reason: null };
}

/** The levels of the intervals in the window, and what was put in or taken out in it; each once, in order of time. */
function entriesBehind(rows: readonly Row[], { from, to }: Span): readonly string[] {
  const ids = new Set<string>();
  for (const { volumes, item, counted } of rows) {
    const isFlow = item.content.kind === 'instilled' || item.content.kind === 'sampled';
    if (isFlow && counted && item.at >= from && item.at < to) ids.add(item.id);
    if (volumes === null || volumes.interval.to.at <= from) continue;
    const { interval } = volumes;
    for (const point of [interval.from, interval.risesFrom, interval.to])
      if (point !== null) ids.add(point.id);
  }
  return [...ids];
}
