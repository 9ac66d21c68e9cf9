/**
 * An advisory is an episode: from the level at which a rule is first found crossed to the first at which it is
 * found not to be. What cannot be assessed in between neither ends nor confirms it. The removal of the drain ends it.
 */
import type { Author } from './entry.ts';
import type { Finding, Moment, Outcome } from './finding.ts';
import { approximately } from './rational.ts';
import type { Rule } from './rule.ts';
import type { EpochMs } from './units.ts';

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

export interface Episode {
  /** Rule, subject and the time of the level that raised it: the same whenever it is worked out. */
  readonly id: string;
  readonly rule: Rule;
  readonly drains: readonly string[];
  readonly raised: Finding;
  /** The finding with the largest value. */
  readonly peak: Finding;
  /** The last finding. */
  readonly newest: Finding;
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

export function episodesOf(
  rule: Rule,
  subject: Subject,
  outcomes: readonly Outcome[],
  reviews: readonly Review[],
): readonly Episode[] {
  const episodes: Episode[] = [];
  let open: Opened | null = null;
  for (const outcome of outcomes) {
    if (outcome.state === 'raised') {
      open = goesOn(open ?? openedBy(rule, subject, outcome.finding, reviews), outcome.finding);
    } else if (outcome.state === 'clear' && open !== null) {
      episodes.push({ ...open, ended_at: outcome.at_text });
      open = null;
    }
  }
  return open === null ? episodes : [...episodes, { ...open, ended_at: subject.removed_at }];
}

type Opened = Omit<Episode, 'ended_at'>;

const goesOn = (open: Opened, newest: Finding): Opened => ({
  ...open,
  newest,
  peak: higher(open.peak, newest),
});

/** Each finding as an episode of its own: it stands until the entries no longer give it. */
export function singleEpisodes(
  rule: Rule,
  subject: Subject,
  findings: readonly Finding[],
  reviews: readonly Review[],
): readonly Episode[] {
  return findings.map((finding) => ({
    ...openedBy(rule, subject, finding, reviews),
    ended_at: subject.removed_at,
  }));
}

function openedBy(rule: Rule, subject: Subject, finding: Finding, reviews: readonly Review[]): Opened {
  const id = `${rule.id}.${subject.name}.${compact(finding.at)}`;
  return {
    id,
    rule,
    drains: subject.drains,
    raised: finding,
    peak: finding,
    newest: finding,
    reviews: reviews.filter(({ advisory }) => advisory === id),
  };
}

/** 20260301T080000Z, with milliseconds where there are any. */
const compact = (at: EpochMs): string =>
  new Date(at).toISOString().replace('.000Z', 'Z').replaceAll(/[-:]/g, '');

function higher(a: Finding, b: Finding): Finding {
  if (a.value === null || b.value === null) return a;
  return approximately(b.value) > approximately(a.value) ? b : a;
}

/** What could not be assessed, by reason. */
export function notAssessableOf(
  rule: Rule,
  { drains }: Subject,
  outcomes: readonly Outcome[],
): readonly NotAssessable[] {
  const newest = outcomes.at(-1);
  const byReason = new Map<string, Moment[]>();
  for (const outcome of outcomes) {
    if (outcome.state !== 'not-assessable') continue;
    const { reason } = outcome;
    byReason.set(reason, (byReason.get(reason) ?? []).concat(outcome));
  }
  return [...byReason].map(([reason, found]) => ({
    rule,
    drains,
    reason,
    seen: { first_at: found[0]?.at_text ?? '', last_at: found.at(-1)?.at_text ?? '', times: found.length },
    now: found.at(-1) === newest,
  }));
}
