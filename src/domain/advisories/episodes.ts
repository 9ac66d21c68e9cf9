/**
 * An advisory is an episode: from the level at which a rule is first found crossed to the first at which it is
 * found not to be. What cannot be assessed in between neither ends nor confirms it. The removal of the drain ends it.
 */

import { writeInstantLike } from '../numbers/instant.ts';
import type { EpochMs } from '../numbers/units.ts';
import type { Author } from '../vocabulary/entry.ts';
import type { Rule } from '../vocabulary/rule.ts';
import { type Found, openIn, stretchesSince, type Track } from './track.ts';

/** A person has seen an advisory, with words. */
export interface Review {
  /** Id of the advisory that it names. */
  readonly advisory: string;
  readonly drain: string;
  readonly entry: string;
  readonly words: string;
  readonly author: Author;
  readonly at_text: string;
}

/** What a rule is run on. */
export interface Subject {
  /** Stands in the ids of advisories: the drain, or a name made for the patient. */
  readonly name: string;
  readonly drains: readonly string[];
  /** As charted; null while any of its drains is in. */
  readonly removed_at: string | null;
}

export interface Episode extends Found {
  /** Rule, subject and the time of the level that raised it: the same whenever it is worked out. */
  readonly id: string;
  readonly rule: Rule;
  readonly drains: readonly string[];
  /** As charted; null while it stands. */
  readonly ended_at: string | null;
  readonly reviews: readonly Review[];
}

export interface NotAssessable {
  readonly rule: Rule;
  readonly drains: readonly string[];
  readonly reason: string;
  /** The first and last level or reading where it is so, and how many; null where the reason holds throughout. */
  readonly seen: { readonly first_at: string; readonly last_at: string; readonly times: number } | null;
  /** Whether it is so at the newest one. */
  readonly now: boolean;
}

/** What a track is told of: the rule as it held at each finding, and whom it was run on. */
export interface Told {
  readonly subject: Subject;
  readonly reviews: readonly Review[];
  ruleAt(at: EpochMs): Rule;
}

/** Episodes of a track in order, from the end of an earlier form of it on; all where that is null. */
export function episodesSince(track: Track, since: Track, told: Told): readonly Episode[] {
  const episodes: Episode[] = [];
  for (const stretch of stretchesSince(track, since)) {
    if (stretch.state === 'clear' && stretch.ended !== null)
      episodes.push(episode(stretch.ended, stretch.first_at, told));
    if (stretch.state === 'single') episodes.push(episode(stretch.found, told.subject.removed_at, told));
  }
  const open = track === null ? null : openIn(track.item);
  if (open !== null) episodes.push(episode(open, told.subject.removed_at, told));
  return episodes;
}

function episode(found: Found, ended_at: string | null, { subject, reviews, ruleAt }: Told): Episode {
  const { raised, peak, newest } = found;
  const rule = ruleAt(raised.at);
  const id = `${rule.id}.${subject.name}.${compactMoment(raised.at)}`;
  return {
    id,
    rule,
    drains: subject.drains,
    raised,
    peak,
    newest,
    ended_at,
    reviews: reviews.filter(({ advisory }) => advisory === id),
  };
}

/** 20260301T080000Z, with milliseconds where there are any. */
export const compactMoment = (at: EpochMs): string => writeInstantLike(at, 'Z').replaceAll(/[-:]/g, '');

/** What could not be assessed, by reason. */
export function notAssessableIn(track: Track, rule: Rule, { drains }: Subject): readonly NotAssessable[] {
  const byReason = new Map<string, NotAssessable['seen']>();
  for (const stretch of stretchesSince(track, null)) {
    if (stretch.state !== 'not-assessable') continue;
    const { reason, first_at, last_at, times } = stretch;
    const before = byReason.get(reason);
    const earlier = before === undefined || before === null ? { first_at, times: 0 } : before;
    byReason.set(reason, { first_at: earlier.first_at, last_at, times: earlier.times + times });
  }
  const newest = track?.item;
  const reasonNow = newest?.state === 'not-assessable' ? newest.reason : null;
  return [...byReason].map(([reason, seen]) => ({ rule, drains, reason, seen, now: reason === reasonNow }));
}
