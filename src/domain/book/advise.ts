/**
 * Advisories of a patient's drains, as of all that is charted. They are a list for people to review. Nothing here is
 * an alarm, and no reading is not 0 mL.
 */

import {
  type Episode,
  episodesSince,
  type NotAssessable,
  notAssessableIn,
  type Review,
} from '../advisories/episodes.ts';
import type { Finding } from '../advisories/finding.ts';
import { type Policy, phaseAt } from '../advisories/policy.ts';
import { type Run, type Tubes, tubesNamed } from '../advisories/runs.ts';
import { entriesBehind, tubeOf } from '../advisories/tubes.ts';
import { reviewsOn, toldUnder, type Watched } from '../advisories/watch.ts';
import type { Book } from './book.ts';

/** A finding with the ids of all entries behind it. */
export interface WholeFinding extends Finding {
  readonly entries: readonly string[];
}

export interface AdvisedEpisode extends Episode {
  readonly raised: WholeFinding;
  readonly peak: WholeFinding;
  readonly newest: WholeFinding;
}

export interface Advised {
  /** In the order of the table, then of drains, then of time. */
  readonly episodes: readonly AdvisedEpisode[];
  readonly not_assessable: readonly NotAssessable[];
  /** Reviews of advisories that the entries and rules no longer give, or never gave. */
  readonly reviews_of_none: readonly Review[];
}

/**
 * @param books of all drains that share a patient
 * @param rules in the order of the table
 */
export function advise(books: readonly Book[], rules: Policy['rules']): Advised {
  const tubes = new Map(books.flatMap((book) => tubeOf(book) ?? []).map((tube) => [tube.drain, tube]));
  const all = rules.flatMap(({ id }) => books.flatMap(({ watch }) => watch.found.get(id) ?? []));
  const episodes = all.flatMap((watched) => episodesOf(watched, tubes));
  const ids = new Set(episodes.map(({ id }) => id));
  return {
    episodes,
    not_assessable: all.flatMap(notAssessableOf),
    reviews_of_none: reviewsOn(books).filter(({ advisory }) => !ids.has(advisory)),
  };
}

/** The entries behind a window are looked up only when they are asked for. */
function episodesOf(watched: Watched, tubes: Tubes): readonly AdvisedEpisode[] {
  const { run, track } = watched;
  const whole = (finding: Finding): WholeFinding => {
    const { entries, window } = finding;
    const { gate } = phaseAt(run.phases, finding.at);
    if (entries !== null) return { ...finding, entries };
    if (window === null || !gate.applies) return { ...finding, entries: [] };
    return { ...finding, entries: entriesBehind(tubesNamed(gate.drains, tubes), window.from, window.to) };
  };
  return episodesSince(track, null, toldUnder(watched)).map((episode) => ({
    ...episode,
    raised: whole(episode.raised),
    peak: whole(episode.peak),
    newest: whole(episode.newest),
  }));
}

function notAssessableOf({ run, track }: Watched): readonly NotAssessable[] {
  const missing = missingNow(run);
  const told = notAssessableIn(track, run.rule.newest, run.subject);
  return missing === null ? told : [missing, ...told];
}

/** What keeps a rule as it stands now from being run at all. */
function missingNow({ rule, phases, subject: { drains } }: Run): NotAssessable | null {
  const gate = phases.at(-1)?.gate;
  if (gate === undefined || gate.applies || gate.reason === null) return null;
  return { rule: rule.newest, drains, reason: gate.reason, seen: null, now: true };
}
