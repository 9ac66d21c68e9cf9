/**
 * Levels to drained volumes, within and across runs.
 *
 * Within a run drained = running maximum of the level minus the maximum before it; a fall of up to one graduation
 * counts as reading error (0 drained, made good before new volume counts); a larger fall that no entry explains
 * makes its interval indeterminate, casts doubt on the rise that had set the maximum, and starts the run anew. If the
 * new run climbs back to that maximum, the rise that does so is in doubt as well.
 */

import { type EpochMs, type Microlitres, microlitres } from '../numbers/units.ts';
import { graduationAt, type UnitProfile } from '../vocabulary/unit-profile.ts';
import type { Interval, IntervalReason, LevelPoint, Span } from './interval.ts';

interface Run {
  readonly max: Microlitres;
  /** End of the interval that set the maximum; null when a first or opening level did. */
  readonly maxSetAt: EpochMs | null;
  readonly last: LevelPoint;
  /**
   * The maximum that an unexplained fall left behind; null in other runs. A level that reaches it again may only go on
   * from there: 300, a mistyped 30, then 310 is not 280 mL in an hour.
   */
  readonly fallenFrom: Microlitres | null;
}

/** What is known of the chamber after an instant. */
export interface ChamberState {
  readonly profile: UnitProfile | null;
  readonly run: Run | null;
  /** An interval that began on a scale which ended without a closing level, or goes on without an opening one. */
  readonly unclosed: { readonly from: LevelPoint; readonly reason: IntervalReason } | null;
  readonly sampled: Microlitres;
  readonly instilled: Microlitres;
  readonly clamped: readonly Span[];
  readonly clampedSince: EpochMs | null;
}

/** One for all: most intervals are kept with it. */
const NEVER_CLAMPED: readonly Span[] = [];

export const EMPTY_CHAMBER: ChamberState = {
  profile: null,
  run: null,
  unclosed: null,
  sampled: microlitres(0),
  instilled: microlitres(0),
  clamped: NEVER_CLAMPED,
  clampedSince: null,
};

export interface LevelTaken {
  readonly chamber: ChamberState;
  /** Absent for the first level of a drain: a baseline ends no interval. */
  readonly interval: Interval | null;
  /** End of the interval whose rise is now in doubt. */
  readonly contradicts: EpochMs | null;
}

/** Takes one level on the current scale. `lossy` names why the interval it ends can only be a lower bound. */
export function takeLevel(
  chamber: ChamberState,
  point: LevelPoint,
  lossy: IntervalReason | null,
): LevelTaken {
  const { run, unclosed } = chamber;
  const from = unclosed?.from ?? run?.last;
  if (from === undefined)
    return { chamber: inRun(chamber, baseline(point)), interval: null, contradicts: null };
  const unknown = (reason: IntervalReason | null) =>
    endInterval(chamber, { from, to: point, risesFrom: null, reason }, null);
  if (run === null) {
    const interval = unknown(unclosed?.reason ?? null);
    return { chamber: inRun(chamber, baseline(point)), interval, contradicts: null };
  }
  const { max, maxSetAt, fallenFrom } = run;
  if (max - point.level > toleranceAt(chamber, max)) {
    const fallen = { ...baseline(point), fallenFrom: microlitres(Math.max(max, fallenFrom ?? 0)) };
    return { chamber: inRun(chamber, fallen), interval: unknown('unexplained-fall'), contradicts: maxSetAt };
  }
  const climbsBack = fallenFrom !== null && point.level >= fallenFrom - toleranceAt(chamber, fallenFrom);
  const rise = microlitres(Math.max(0, point.level - max));
  const ends = {
    from,
    to: point,
    risesFrom: run.last,
    reason: unclosed?.reason ?? lossy,
    suspect: climbsBack,
  };
  const interval = endInterval(chamber, ends, rise);
  const next: Run = {
    max: rise > 0 ? point.level : max,
    maxSetAt: rise > 0 ? point.at : maxSetAt,
    last: point,
    fallenFrom: climbsBack ? null : fallenFrom,
  };
  return { chamber: inRun(chamber, next), interval, contradicts: null };
}

/** A run of which this level is all that is known. */
const baseline = (point: LevelPoint): Run => ({
  max: point.level,
  maxSetAt: null,
  last: point,
  fallenFrom: null,
});

/** The chamber after a level ended an interval and left the run like this. */
const inRun = (chamber: ChamberState, run: Run): ChamberState => afterInterval(chamber, run, run.last.at);

/** One graduation at this level; 0 while no unit is known. */
export function toleranceAt(chamber: ChamberState, level: Microlitres): Microlitres {
  return chamber.profile === null ? microlitres(0) : graduationAt(chamber.profile, level);
}

/**
 * Ends the scale at a unit change or re-based level; `opening` is the level on the new one, if it was stated.
 * What went in or out of the tube before the drain's first known level belongs to no interval.
 */
export function startScale(
  chamber: ChamberState,
  profile: UnitProfile | null,
  opening: LevelPoint | null,
  at: { readonly closedBy: LevelPoint | null; readonly reason: IntervalReason },
): ChamberState {
  const from = at.closedBy ?? chamber.unclosed?.from ?? chamber.run?.last ?? null;
  const closed = at.closedBy !== null && opening !== null;
  const reason = at.closedBy === null ? unclosedReason(chamber, at.reason) : 'opening-not-stated';
  const before =
    from === null && opening !== null ? afterInterval(chamber, chamber.run, opening.at) : chamber;
  return {
    ...before,
    profile,
    run: opening === null ? null : baseline(opening),
    unclosed: closed || from === null ? null : { from, reason },
  };
}

/** A scale that was not opened is by now one that was not closed: from the next opening on there is a lower bound. */
const unclosedReason = ({ unclosed }: ChamberState, now: IntervalReason): IntervalReason =>
  unclosed === null || unclosed.reason === 'opening-not-stated' ? now : unclosed.reason;

function endInterval(
  { sampled, instilled, clamped, clampedSince }: ChamberState,
  { from, to, risesFrom, reason, suspect = false }: Ends,
  drained: Microlitres | null,
): Interval {
  const isStillClamped = clampedSince !== null && clampedSince < to.at;
  return {
    from,
    to,
    status: drained === null ? 'indeterminate' : reason === null ? 'measured' : 'at-least',
    reason,
    suspect,
    risesFrom,
    drained,
    sampled,
    instilled,
    clamped: isStillClamped ? [...clamped, { from: clampedSince, to: to.at }] : clamped,
  };
}

type Ends = Pick<Interval, 'from' | 'to' | 'risesFrom' | 'reason'> & { readonly suspect?: boolean };

function afterInterval({ profile, clampedSince }: ChamberState, run: Run | null, at: EpochMs): ChamberState {
  return {
    profile,
    run,
    unclosed: null,
    sampled: microlitres(0),
    instilled: microlitres(0),
    clamped: NEVER_CLAMPED,
    clampedSince: clampedSince === null ? null : at,
  };
}

/** Closes or opens the tube at a moment; saying twice what already holds changes nothing. */
export function setClamp(chamber: ChamberState, closed: boolean, at: EpochMs): ChamberState {
  const { clampedSince } = chamber;
  if (closed) return clampedSince === null ? { ...chamber, clampedSince: at } : chamber;
  if (clampedSince === null) return chamber;
  const span = { from: clampedSince, to: at };
  return {
    ...chamber,
    clampedSince: null,
    clamped: at > clampedSince ? [...chamber.clamped, span] : chamber.clamped,
  };
}
