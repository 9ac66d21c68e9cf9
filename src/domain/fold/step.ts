/** One instant of a drain: the state before it and its statements give the state after it and their rows. */

import type { EpochMs } from '../numbers/units.ts';
import type { Item } from './chains.ts';
import type { Circumstances } from './circumstances.ts';
import type { AttachedUnit, Conditions } from './conditions-held.ts';
import { isTimeInQuestion } from './drain.ts';
import { type ChamberState, startScale, takeLevel } from './drainage.ts';
import { takeEvent } from './events.ts';
import type { Interval, LevelPart } from './interval.ts';
import { type AgreedLevel, type LevelsAt, leftOutLevels, levelsAt } from './levels-at.ts';
import { type Mark, type MarkBook, mark } from './marks.ts';
import { type Negativity, totalNegativity } from './negativity.ts';
import type { IncompleteReason, Row, Volumes } from './row.ts';
import type { FoldState } from './state.ts';
import { appendInterval } from './sums.ts';
import { volumesAt } from './volumes.ts';

export interface Stepped {
  readonly state: FoldState;
  readonly rows: readonly Row[];
  /** End of the earlier interval whose rise this instant's fall contradicts. */
  readonly contradicts: EpochMs | null;
}

export type IsSuspect = (intervalEnd: EpochMs) => boolean;

export function step(
  before: FoldState,
  items: readonly Item[],
  circumstances: Circumstances,
  isSuspect: IsSuspect,
): Stepped {
  const marks: MarkBook = new Map();
  const counted = items.filter((item) => counts(item, circumstances, marks));
  const levels = takeLevels(before, counted, circumstances, isSuspect, marks);
  let { state } = levels;
  const attached = attachedAmong(counted);
  const rows = inOrder(items, before, levels.at).map((item): Row => {
    const isCounted = counted.includes(item);
    if (isCounted) state = takeEvent(state, item, marks, circumstances);
    const conditions = conditionsOf(item, before, levels, state.conditions, attached);
    const negativity = isCounted ? negativityOf(item, conditions, marks) : null;
    return {
      item,
      marks: marks.get(item.id) ?? NO_MARKS,
      counted: isCounted,
      leftOut: isCounted ? leftOutLevels(item, levels.at) : NO_PARTS,
      encounter: state.encounter,
      conditions,
      volumes: levels.volumes?.id === item.id ? levels.volumes.found : null,
      negativity,
    };
  });
  return { state, rows, contradicts: levels.contradicts };
}

/** A second set-up is a unit change: what was read on the old unit in its minute was read before it. */
function inOrder(items: readonly Item[], { conditions }: FoldState, at: LevelsAt): readonly Item[] {
  const start = items.findIndex(({ content }) => content.kind === 'set-up');
  if (start === -1 || conditions.unit === null) return items;
  const isOfOld = (item: Item) => item.content.kind === 'reading' && !isOnNew(item, at);
  const from = items.slice(start);
  return [...items.slice(0, start), ...from.filter(isOfOld), ...from.filter((item) => !isOfOld(item))];
}

/** Whether the level of a reading is on the scale that starts at its instant. */
const isOnNew = ({ id }: Item, { boundary }: LevelsAt): boolean =>
  boundary?.opening?.among.some((level) => level.id === id && level.part === 'level') === true;

const NO_MARKS: readonly Mark[] = [];
const NO_PARTS: readonly LevelPart[] = [];

/** A weight is the patient's and a drain's facts are timeless: those count whenever they are charted. */
function counts(item: Item, { placedAt, removedAt, settings }: Circumstances, marks: MarkBook): boolean {
  if (isTimeInQuestion(item, settings)) {
    mark(marks, item.id, 'time-in-question');
    return false;
  }
  if (item.at - item.recorded_ms > settings.clock_skew_ms) mark(marks, item.id, 'clock-skew');
  const { kind } = item.content;
  if (kind === 'placed' || kind === 'drain-updated' || kind === 'weighed' || kind === 'reviewed') return true;
  if (placedAt === null || item.at < placedAt) mark(marks, item.id, 'before-placement');
  else if (removedAt !== null && item.at > removedAt) mark(marks, item.id, 'after-removal');
  else return true;
  return false;
}

interface LevelsTaken {
  readonly at: LevelsAt;
  readonly state: FoldState;
  /** By the entry whose level ended an interval. */
  readonly volumes: { readonly id: string; readonly found: Volumes } | null;
  readonly contradicts: EpochMs | null;
}

function takeLevels(
  before: FoldState,
  items: readonly Item[],
  circumstances: Circumstances,
  isSuspect: IsSuspect,
  marks: MarkBook,
): LevelsTaken {
  const at = levelsAt(before.chamber, items, marks);
  const { old, boundary } = at;
  const read = isRead(old) || isRead(boundary?.opening ?? null);
  let state = before;
  let volumes: LevelsTaken['volumes'] = null;
  let contradicts: EpochMs | null = null;
  if (old !== null) {
    const taken = takeLevel(before.chamber, old.point, boundary?.rebased === true ? 'level-rebased' : null);
    contradicts = taken.contradicts;
    const { chamber } = taken;
    if (taken.interval === null) {
      state = {
        ...before,
        chamber,
        incomplete: because(before, 'baseline-only'),
        sinceReading: NO_INTERVALS,
      };
    } else {
      const { interval: ended } = taken;
      const interval = !ended.suspect && isSuspect(ended.to.at) ? { ...ended, suspect: true } : ended;
      const since = [...before.sinceReading, interval];
      state = withInterval(before, chamber, interval, read ? NO_INTERVALS : since);
      volumes = { id: old.point.id, found: volumesAt(state, interval, since, circumstances) };
      if (isSudden(interval, circumstances)) mark(marks, old.point.id, 'sudden-jump');
    }
  }
  if (boundary !== null) state = withScale(state, old, boundary);
  if (read && state.sinceReading.length > 0) state = { ...state, sinceReading: NO_INTERVALS };
  return { at, state, volumes, contradicts };
}

const NO_INTERVALS: readonly Interval[] = [];

/** Whether a reading is among the levels that count, not only a closing or opening level. */
const isRead = (levels: AgreedLevel | null): boolean =>
  levels?.among.some(({ part }) => part === 'level') ?? false;

/** Field by field: one is made at every level, and to spread it takes twenty times as long. */
function withInterval(
  state: FoldState,
  chamber: ChamberState,
  interval: Interval,
  sinceReading: readonly Interval[],
): FoldState {
  const reasons: IncompleteReason[] = interval.reason === null ? [] : [interval.reason];
  if (interval.suspect) reasons.push('suspect-rise');
  // No closing level and no opening one either: not even a lower bound.
  if (interval.drained === null && interval.reason !== 'unexplained-fall') reasons.push('opening-not-stated');
  return {
    chamber,
    conditions: state.conditions,
    encounter: state.encounter,
    intervals: appendInterval(state.intervals, interval),
    flows: state.flows,
    fluids: state.fluids,
    reviews: state.reviews,
    measuredFrom: state.measuredFrom ?? { ms: interval.from.at, text: interval.from.at_text },
    incomplete: because(state, ...reasons),
    sinceReading,
    lastReading: state.lastReading,
  };
}

function withScale(
  state: FoldState,
  closedBy: AgreedLevel | null,
  { profile, opening, rebased }: NonNullable<LevelsAt['boundary']>,
): FoldState {
  const { chamber } = state;
  const isUnknown = chamber.run === null && chamber.unclosed === null;
  const neverRead = isUnknown && chamber.profile !== null;
  const openedByReading = isUnknown && opening?.among.every(({ part }) => part === 'level') === true;
  return {
    ...state,
    incomplete: neverRead || openedByReading ? because(state, 'baseline-only') : state.incomplete,
    chamber: startScale(chamber, profile, opening?.point ?? null, {
      closedBy: closedBy?.point ?? null,
      reason: rebased ? 'level-rebased' : 'no-closing-level',
    }),
  };
}

function because(
  { incomplete }: FoldState,
  ...reasons: readonly IncompleteReason[]
): readonly IncompleteReason[] {
  return reasons.every((reason) => incomplete.includes(reason))
    ? incomplete
    : [...new Set([...incomplete, ...reasons])].sort();
}

function isSudden(interval: Interval, { settings }: Circumstances): boolean {
  const { microlitres: limit, within_ms: within } = settings.sudden_jump;
  return (interval.drained ?? 0) > limit && interval.to.at - interval.from.at < within;
}

/** The unit that the statements of an instant attach: of several the last. */
function attachedAmong(items: readonly Item[]): AttachedUnit | null {
  let attached: AttachedUnit | null = null;
  for (const item of items) {
    const { content } = item;
    if (content.kind === 'set-up' || content.kind === 'unit-changed') attached = { item, content };
  }
  return attached;
}

/**
 * A reading of the minute of a unit change was made on the old unit, unless its level is on the scale of the new one.
 * @param now after the statement
 */
function conditionsOf(
  item: Item,
  before: FoldState,
  { at }: LevelsTaken,
  now: Conditions,
  attached: AttachedUnit | null,
): Conditions {
  if (item.content.kind !== 'reading' || attached === null) return now;
  const isOnOld = at.old?.among.some(({ id, part }) => id === item.id && part === 'level') === true;
  // What was read on a unit that nobody had charted was not read on the one that took its place.
  const unitBefore = attached.content.kind === 'set-up' && !isOnOld ? attached : null;
  const unit = isOnNew(item, at) ? attached : (before.conditions.unit ?? unitBefore);
  return unit === now.unit ? now : { ...now, unit };
}

function negativityOf(item: Item, { unit, source }: Conditions, marks: MarkBook): Negativity | null {
  const { content } = item;
  if (content.kind !== 'reading') return null;
  const profile = unit?.content.unit_profile ?? null;
  if (profile?.kind === 'wet-suction' && source === 'on' && content.suction?.bubbling === 'none') {
    mark(marks, item.id, 'suction-without-bubbling');
  }
  const scale = profile?.leak_scale_max?.thousandths ?? Infinity;
  const grade = content.air_leak?.grade?.thousandths ?? 0;
  if (grade > scale) mark(marks, item.id, 'beyond-leak-scale');
  return totalNegativity(content, profile, source);
}
