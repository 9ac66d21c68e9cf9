/**
 * All levels charted at one instant, sorted into the run that ends there and the run that starts there.
 *
 * Levels of one run within one graduation agree and the highest counts; otherwise none counts. A reading at the
 * instant of a unit change belongs to the old run near its closing level, to the new one near its opening level.
 */

import { microlitres } from '../numbers/units.ts';
import type { LevelRebased, SetUp, UnitChanged } from '../vocabulary/entry.ts';
import { graduationAt, type UnitProfile } from '../vocabulary/unit-profile.ts';
import type { Item } from './chains.ts';
import { type ChamberState, toleranceAt } from './drainage.ts';
import type { LevelPart, LevelPoint } from './interval.ts';
import { type MarkBook, mark } from './marks.ts';

type Boundary = SetUp | UnitChanged | LevelRebased;

/** The level that counts among those of one run at an instant. */
export interface AgreedLevel {
  readonly point: LevelPoint;
  /** All that agree with it, itself included. */
  readonly among: readonly LevelPoint[];
}

/** What an instant does to the scale. */
export interface LevelsAt {
  /** The level on the scale that was in use, or is still. */
  readonly old: AgreedLevel | null;
  /** Present when a unit was set up or changed, or its level re-based. */
  readonly boundary: {
    readonly profile: UnitProfile | null;
    readonly opening: AgreedLevel | null;
    readonly rebased: boolean;
  } | null;
}

export function levelsAt(chamber: ChamberState, items: readonly Item[], marks: MarkBook): LevelsAt {
  const readings = levelsOf(items, 'level');
  const boundaries = items.filter((item) => isBoundary(item.content));
  if (boundaries.length === 0) return { old: agreed(readings, chamber.profile, marks), boundary: null };

  const profile = profileAfter(chamber.profile, boundaries);
  const closings = levelsOf(boundaries, 'closing');
  const openings = levelsOf(boundaries, 'opening');
  const closing = agreed(closings, chamber.profile, marks);
  const opening = agreed(openings, profile, marks);
  const olds: LevelPoint[] = [];
  const news = opening === null ? [] : [...opening.among];
  const others: LevelPoint[] = [];
  for (const reading of readings) {
    if (isOfOldRun(chamber, reading, closing)) olds.push(reading);
    else if (isOfNewRun(profile, reading, opening, chamber)) news.push(reading);
    else others.push(reading);
  }
  for (const { id } of readable(others, chamber.profile ?? profile, marks))
    mark(marks, id, 'level-of-neither-run');
  // The reading first: of equal levels the first counts, and whoever looks for its interval looks there.
  if (closing !== null) olds.push(...closing.among);
  const rebased = boundaries.some((item) => item.content.kind === 'level-rebased');
  return {
    old: agreed(olds, chamber.profile, marks),
    boundary: { profile, opening: agreed(news, profile, marks), rebased },
  };
}

/** Which levels that an entry charts do not count. */
export function leftOutLevels({ id, content }: Item, { old, boundary }: LevelsAt): readonly LevelPart[] {
  const counting = [...(old?.among ?? []), ...(boundary?.opening?.among ?? [])];
  return PARTS.filter(
    (part) =>
      chartedLevel(content, part) !== undefined &&
      !counting.some((point) => point.id === id && point.part === part),
  );
}

const PARTS: readonly LevelPart[] = ['level', 'opening', 'closing'];

function isBoundary(content: Item['content']): content is Item['content'] & Boundary {
  return content.kind === 'set-up' || content.kind === 'unit-changed' || content.kind === 'level-rebased';
}

/** The unit in use after the boundaries of one instant: the last attached one; a re-based level keeps the unit. */
function profileAfter(before: UnitProfile | null, boundaries: readonly Item[]): UnitProfile | null {
  let profile = before;
  for (const { content } of boundaries) {
    if (content.kind === 'set-up' || content.kind === 'unit-changed') profile = content.unit_profile;
  }
  return profile;
}

/** Near the closing level; or, where none was given, one that goes on from the old run and so closes it. */
function isOfOldRun(chamber: ChamberState, reading: LevelPoint, closing: AgreedLevel | null): boolean {
  if (closing !== null) {
    const { level } = closing.point;
    return Math.abs(reading.level - level) <= toleranceAt(chamber, level);
  }
  return chamber.run !== null && reading.level >= chamber.run.max - toleranceAt(chamber, chamber.run.max);
}

/** Near the opening level; where none was stated and no old scale is known, the reading is the new baseline. */
function isOfNewRun(
  profile: UnitProfile | null,
  reading: LevelPoint,
  opening: AgreedLevel | null,
  chamber: ChamberState,
): boolean {
  if (opening === null) return chamber.run === null && chamber.unclosed === null;
  const { level } = opening.point;
  return Math.abs(reading.level - level) <= (profile === null ? 0 : graduationAt(profile, level));
}

function levelsOf(items: readonly Item[], part: LevelPart): LevelPoint[] {
  return items.flatMap(({ id, at, content }) => {
    const charted = chartedLevel(content, part);
    if (charted === undefined) return [];
    const level = microlitres(charted.thousandths);
    return { id, part, at, at_text: content.effective_at, level, graduation: null };
  });
}

function chartedLevel(content: Item['content'], part: LevelPart) {
  switch (content.kind) {
    case 'reading':
      return part === 'level' ? content.level_ml : undefined;
    case 'set-up':
      return part === 'opening' ? content.opening_level_ml : undefined;
    case 'unit-changed':
      return part === 'opening'
        ? content.opening_level_ml
        : part === 'closing'
          ? content.closing_level_ml
          : undefined;
    case 'level-rebased':
      return part === 'opening'
        ? content.new_level_ml
        : part === 'closing'
          ? content.last_trusted_level_ml
          : undefined;
    default:
      return undefined;
  }
}

/** The level that counts among several of one run at one instant, or null when there is none or they conflict. */
function agreed(
  points: readonly LevelPoint[],
  profile: UnitProfile | null,
  marks: MarkBook,
): AgreedLevel | null {
  const among = readable(points, profile, marks);
  const [first, ...rest] = among;
  if (first === undefined) return null;
  const highest = rest.reduce((top, point) => (point.level > top.level ? point : top), first);
  const graduation = profile === null ? null : graduationAt(profile, highest.level);
  if (among.every((point) => highest.level - point.level <= (graduation ?? 0))) {
    const { id, part, at, at_text, level } = highest;
    return { point: { id, part, at, at_text, level, graduation }, among };
  }
  for (const { id } of among) mark(marks, id, 'conflicting-levels');
  return null;
}

/** Those that the chamber's scale can show. */
function readable(
  points: readonly LevelPoint[],
  profile: UnitProfile | null,
  marks: MarkBook,
): readonly LevelPoint[] {
  if (profile === null) return points;
  return points.filter(({ id, level }) => {
    if (level > profile.capacity_ml.thousandths) {
      mark(marks, id, 'above-capacity');
      return false;
    }
    const graduation = graduationAt(profile, level);
    if (graduation > 0 && level % graduation !== 0) mark(marks, id, 'finer-than-graduations');
    return true;
  });
}
