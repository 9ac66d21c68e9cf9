/**
 * Reading error of levels, and of sums and differences of them.
 *
 * A level read to a graduation g lies anywhere within ± g/2 of the mark, so its standard uncertainty is g / √12
 * (rectangular distribution, JCGM 100:2008, 4.3.7). Levels are read independently; a volume is a sum of levels with
 * coefficients, and the squares add (5.1.2). A level that ends one interval and starts the next cancels. What is
 * reported is expanded, U = 2 u (6.2.1). Nothing but reading error is in it.
 *
 * While no unit is known the graduation is not, and neither is any uncertainty that rests on it: that is NaN inside
 * this arithmetic, and null outside. Sums count such levels apart, so that a part without them has its uncertainty.
 */
import { append, type History, newestWhere } from '../numbers/history.ts';
import { type Microlitres, microlitres } from '../numbers/units.ts';
import type { Interval, LevelPoint } from './interval.ts';

const COVERAGE_FACTOR = 2;

/** u² of one level, µL². */
export function levelVariance({ graduation }: Pick<LevelPoint, 'graduation'>): number {
  return graduation === null ? Number.NaN : graduation ** 2 / 12;
}

/** U = 2 √(variance), µL; null while it is not known. */
export function expanded(variance: number): Microlitres | null {
  return Number.isNaN(variance) ? null : microlitres(COVERAGE_FACTOR * Math.sqrt(variance));
}

/** U of one interval's drained volume; null when the volume or the graduations are not known. */
export function intervalUncertainty({ risesFrom, to }: Interval): Microlitres | null {
  return risesFrom === null ? null : expanded(levelVariance(risesFrom) + levelVariance(to));
}

/** Intervals that are summed and hang together: each rises from the level that the one before it reached. */
export interface Link {
  readonly number: number;
  readonly startVariance: number;
  /** Of the known levels of all links before this one, how many are not known, and where the last link ended. */
  readonly varianceBefore: number;
  readonly unknownBefore: number;
  readonly endBefore: LevelPoint | null;
}

/** Variance of the sum of all intervals so far, kept so that the variance of any later part is a look-up. */
export interface VarianceSum {
  readonly links: History<Link>;
  /** Where the newest link has come to; null before the first. */
  readonly end: LevelPoint | null;
}

export const NO_VARIANCE: VarianceSum = { links: null, end: null };

/** Adds an interval that counts in the sums. */
export function withVariance(sum: VarianceSum, risesFrom: LevelPoint, to: LevelPoint): VarianceSum {
  const { links, end } = sum;
  if (end !== null && isSame(end, risesFrom)) return { links, end: to };
  const link: Link = {
    number: (links?.item.number ?? 0) + 1,
    startVariance: levelVariance(risesFrom),
    varianceBefore: knownVariance(sum),
    unknownBefore: unknownLevels(sum),
    endBefore: end,
  };
  return { links: append(links, link), end: to };
}

const known = (variance: number): number => (Number.isNaN(variance) ? 0 : variance);
const unknown = (variance: number): number => (Number.isNaN(variance) ? 1 : 0);

/** A level that counts with the factor 0 adds nothing, known or not. */
export const weighted = (factor: number, variance: number): number =>
  factor === 0 ? 0 : factor ** 2 * variance;

/** u² of the levels at the ends of all links that are known, µL². */
function knownVariance({ links, end }: VarianceSum): number {
  if (links === null || end === null) return 0;
  return links.item.varianceBefore + known(links.item.startVariance) + known(levelVariance(end));
}

/** How many of these are not known. */
function unknownLevels({ links, end }: VarianceSum): number {
  if (links === null || end === null) return 0;
  return links.item.unknownBefore + unknown(links.item.startVariance) + unknown(levelVariance(end));
}

/** u² of the sum of all intervals, µL². */
export const varianceOf = (sum: VarianceSum): number =>
  unknownLevels(sum) > 0 ? Number.NaN : knownVariance(sum);

/**
 * u² of what was drained after an edge, µL².
 * @param all up to the newest interval
 * @param before up to the last summed interval that starts before the edge
 * @param cut that interval and the part of it that lies after the edge, 0 to 1, if the edge cuts it
 */
export function varianceAfter(
  all: VarianceSum,
  before: VarianceSum,
  cut: { readonly risesFrom: LevelPoint; readonly part: number } | null,
): number {
  const { end } = before;
  if (end === null) return varianceOf(all);
  const part = cut?.part ?? 0;
  const cutStart = cut === null ? 0 : weighted(part, levelVariance(cut.risesFrom));
  const goesOn = isOpenAt(all, before, end);
  // Where the link goes on, this level ends the cut part and starts what follows: coefficients part and -1.
  const shared = weighted(goesOn ? 1 - part : part, levelVariance(end));
  // So it is not among those that both sums have in common, which cancel.
  const apart = goesOn ? levelVariance(end) : 0;
  if (unknownLevels(all) - unknownLevels(before) + unknown(apart) > 0) return Number.NaN;
  return knownVariance(all) - knownVariance(before) + known(apart) + cutStart + shared;
}

/** Whether the link that had come to `end` goes on from there. */
function isOpenAt(all: VarianceSum, before: VarianceSum, end: LevelPoint): boolean {
  const following = (before.links?.item.number ?? 0) + 1;
  const next = newestWhere(all.links, (link) => link.number <= following);
  const closedAt = next?.item.number === following ? next.item.endBefore : all.end;
  return closedAt !== null && !isSame(closedAt, end);
}

/** Whether two levels are one: an entry of a unit change charts two. */
export const isSame = (a: LevelPoint, b: LevelPoint): boolean => a.id === b.id && a.part === b.part;

/** A mark for the eye only: U > |value|. It decides nothing. */
export function isLowConfidence(value: number | null, uncertainty: number | null): boolean {
  return value !== null && uncertainty !== null && uncertainty > Math.abs(value);
}
