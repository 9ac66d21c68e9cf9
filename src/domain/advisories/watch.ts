/** Keeps what the rules find on a patient's drains in step with their charts, at the cost of what changed. */
import { stateOf } from '../fold/chart.ts';
import type { DrainView } from '../fold/drain.ts';
import { equal } from '../numbers/equal.ts';
import { type EpochMs, epochMs } from '../numbers/units.ts';
import { type Episode, episodesSince, type Review, type Told } from './episodes.ts';
import { type Policy, phaseAt } from './policy.ts';
import { outcomesAfter, type Run, runsOn, type Tubes, tubesNamed } from './runs.ts';
import { extended, type Track, upTo } from './track.ts';
import { closedTogetherAt, type Tube, tubeOf } from './tubes.ts';

/** What one rule found so far, and what it was told under. */
export interface Watched {
  readonly run: Run;
  readonly track: Track;
  readonly reviews: readonly Review[];
}

export interface Watch {
  /** What was known of all drains of the patient when they were last told of. */
  readonly views: readonly DrainView[];
  /** By rule id, of the runs whose home the drain is. */
  readonly found: ReadonlyMap<string, Watched>;
}

export const NOTHING_WATCHED: Watch = { views: [], found: new Map() };

/** A drain as a change leaves it. */
export interface DrainNow extends Pick<Tube, 'drain' | 'view' | 'circumstances' | 'chart'> {
  /** The earliest time from which its chart differs from before; null where it does not. */
  readonly since: EpochMs | null;
  /** As it was before. */
  readonly watch: Watch;
}

/** What a change does to the advisories that one drain keeps. */
export interface WatchChange {
  readonly watch: Watch;
  /** Episodes that may differ, as they were and as they are. */
  readonly before: readonly Episode[];
  readonly after: readonly Episode[];
}

export function watched(drains: readonly DrainNow[], policy: Policy): ReadonlyMap<string, WatchChange> {
  const tubes = drains.flatMap((drain) => tubeOf(drain) ?? []);
  const reviews = reviewsOn(drains);
  const views = tubes.map(({ view }) => view);
  const runs = runsAsBefore(drains, views) ?? runsOn(tubes, policy);
  const now: Now = {
    views,
    reviews,
    tubes: new Map(tubes.map((tube) => [tube.drain, tube])),
    since: new Map(drains.map((drain) => [drain.drain, drain.since])),
  };
  return new Map(
    drains.map(({ drain, watch }) => {
      const own = runs.filter(({ home }) => home === drain);
      return [drain, changeOf(watch, own, now)];
    }),
  );
}

interface Now {
  readonly views: readonly DrainView[];
  readonly reviews: readonly Review[];
  readonly tubes: Tubes;
  readonly since: ReadonlyMap<string, EpochMs | null>;
}

/** Most entries change nothing of what is known of a drain as a whole, so neither what is run on it. */
function runsAsBefore(drains: readonly DrainNow[], views: readonly DrainView[]): readonly Run[] | null {
  const isSame = ({ watch }: DrainNow): boolean =>
    watch.views.length === views.length && watch.views.every((view, n) => view === views[n]);
  if (!drains.every(isSame)) return null;
  return drains.flatMap(({ watch }) => [...watch.found.values()].map(({ run }) => run));
}

/** Reviews charted on these drains, by drain, then in order of time. */
export function reviewsOn(drains: readonly Pick<Tube, 'drain' | 'chart'>[]): readonly Review[] {
  const reviews = drains.flatMap(reviewsIn);
  return reviews.length === 0 ? NO_REVIEWS : reviews;
}

/** One for all: that nothing was reviewed before either is then seen at a glance, rule by rule. */
const NO_REVIEWS: readonly Review[] = [];

function reviewsIn({ drain, chart }: Pick<Tube, 'drain' | 'chart'>): Review[] {
  const reviews: Review[] = [];
  for (let node = stateOf(chart).reviews; node !== null; node = node.before) {
    const { content, id, author } = node.item;
    if (content.kind !== 'reviewed') continue;
    const { advisory, words, effective_at } = content;
    reviews.push({ advisory, drain, entry: id, words, author, at_text: effective_at });
  }
  return reviews.reverse();
}

function changeOf({ found: old }: Watch, runs: readonly Run[], now: Now): WatchChange {
  const found = new Map<string, Watched>();
  const before: Episode[] = [];
  const after: Episode[] = [];
  for (const run of runs) {
    const was = old.get(run.rule.id);
    const told = toldOf(was, run, now);
    found.set(run.rule.id, told.watched);
    if (was !== undefined) before.push(...episodesSince(was.track, told.common, toldUnder(was)));
    after.push(...episodesSince(told.watched.track, told.common, toldUnder(told.watched)));
  }
  for (const [id, was] of old) {
    if (!found.has(id)) before.push(...episodesSince(was.track, null, toldUnder(was)));
  }
  return { watch: { views: now.views, found }, before, after };
}

/** `common`: what the old and the new track share, unless what all episodes carry is different. */
function toldOf(
  was: Watched | undefined,
  run: Run,
  { reviews, tubes, since }: Now,
): { readonly watched: Watched; readonly common: Track } {
  if (was === undefined || was.run.basis !== run.basis) {
    const track = extended(null, outcomesAfter(run, tubes, { after: NEVER, lastTold: NEVER }));
    return { watched: { run, track, reviews }, common: null };
  }
  const { drains } = run.subject;
  let from = Infinity;
  for (const drain of drains) from = Math.min(from, since.get(drain) ?? Infinity);
  const isSame = equal(was.run.subject, run.subject) && equal(was.reviews, reviews);
  if (from === Infinity)
    return { watched: { run, track: was.track, reviews }, common: isSame ? was.track : null };
  const { kept, after } = upTo(was.track, settledUpTo(tubesNamed(drains, tubes), epochMs(from - 1)));
  const track = extended(kept, outcomesAfter(run, tubes, { after, lastTold: kept?.item.to ?? NEVER }));
  return { watched: { run, track, reviews }, common: isSame ? kept : null };
}

const NEVER = epochMs(-Infinity);

/** What is told up to here does not change when something later does: a sum of several waits until all have closed. */
const settledUpTo = (tubes: readonly Tube[], at: EpochMs): EpochMs =>
  tubes.length === 1 ? at : closedTogetherAt(tubes, at);

export function toldUnder({ run, reviews }: Watched): Told {
  const { rule, subject } = run;
  return { subject, reviews, ruleAt: (at) => phaseAt(rule.phases, at).rule ?? rule.newest };
}
