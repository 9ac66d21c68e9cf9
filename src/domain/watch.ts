/** Keeps what the rules find on a patient's drains in step with their charts, at the cost of what changed. */
import { stateOf } from './chart.ts';
import { type Episode, episodesSince, type Review, type Told } from './episodes.ts';
import { equal } from './equal.ts';
import { type Policy, phaseAt } from './policy.ts';
import { outcomesAfter, type Run, runsOn } from './runs.ts';
import { extended, type Track, upTo } from './track.ts';
import { closedTogetherAt, type Tube, tubeOf } from './tubes.ts';
import { type EpochMs, epochMs } from './units.ts';

/** What one rule found so far, and what it was told under. */
export interface Watched {
  readonly run: Run;
  readonly track: Track;
  readonly reviews: readonly Review[];
}

/** By rule id, of the runs whose home a drain is. */
export type Watch = ReadonlyMap<string, Watched>;

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
  const runs = runsOn(tubes, policy);
  const since = new Map(drains.map((drain) => [drain.drain, drain.since]));
  return new Map(
    drains.map(({ drain, watch }) => {
      const own = runs.filter(({ home }) => home === drain);
      return [drain, changeOf(watch, own, reviews, since)];
    }),
  );
}

/** Reviews charted on these drains, by drain, then in order of time. */
export function reviewsOn(drains: readonly Pick<Tube, 'drain' | 'chart'>[]): readonly Review[] {
  return drains.flatMap(reviewsIn);
}

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

function changeOf(
  old: Watch,
  runs: readonly Run[],
  reviews: readonly Review[],
  since: ReadonlyMap<string, EpochMs | null>,
): WatchChange {
  const watch = new Map<string, Watched>();
  const before: Episode[] = [];
  const after: Episode[] = [];
  for (const run of runs) {
    const was = old.get(run.rule.id);
    const now = toldOf(was, run, reviews, since);
    watch.set(run.rule.id, now.watched);
    if (was !== undefined) before.push(...episodesSince(was.track, now.common, toldUnder(was)));
    after.push(...episodesSince(now.watched.track, now.common, toldUnder(now.watched)));
  }
  for (const [id, was] of old) {
    if (!watch.has(id)) before.push(...episodesSince(was.track, null, toldUnder(was)));
  }
  return { watch, before, after };
}

/** `common`: what the old and the new track share, unless what all episodes carry is different. */
function toldOf(
  was: Watched | undefined,
  run: Run,
  reviews: readonly Review[],
  since: ReadonlyMap<string, EpochMs | null>,
): { readonly watched: Watched; readonly common: Track } {
  if (was === undefined || was.run.basis !== run.basis) {
    return { watched: { run, track: extended(null, outcomesAfter(run, NEVER)), reviews }, common: null };
  }
  const from = Math.min(...run.tubes.map(({ drain }) => since.get(drain) ?? Infinity));
  const isSame = equal(was.run.subject, run.subject) && equal(was.reviews, reviews);
  const base = from === Infinity ? was.track : upTo(was.track, settledUpTo(run.tubes, epochMs(from - 1)));
  const track = from === Infinity ? base : extended(base, outcomesAfter(run, base?.item.to ?? NEVER));
  return { watched: { run, track, reviews }, common: isSame ? base : null };
}

const NEVER = epochMs(-Infinity);

/** What is told up to here does not change when something later does: a sum of several waits until all have closed. */
const settledUpTo = (tubes: readonly Tube[], at: EpochMs): EpochMs =>
  tubes.length === 1 ? at : closedTogetherAt(tubes, at);

export function toldUnder({ run, reviews }: Watched): Told {
  const { rule, subject } = run;
  return { subject, reviews, ruleAt: (at) => phaseAt(rule.phases, at).rule ?? rule.newest };
}
