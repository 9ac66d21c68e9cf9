/**
 * What a rule found on one subject, level by level, kept so that a change costs only what comes after it.
 *
 * Outcomes that say the same one after another are one stretch, so that months without a finding are short; a stretch
 * is cut at a length, so that going back into one repeats little. Immutable, like the chart.
 */

import { append, type History } from '../numbers/history.ts';
import { approximately } from '../numbers/rational.ts';
import { type EpochMs, epochMs } from '../numbers/units.ts';
import type { Finding, Outcome } from './finding.ts';

/** The findings of an episode so far. */
export interface Found {
  readonly raised: Finding;
  /** The one with the largest value, the first of several. */
  readonly peak: Finding;
  readonly newest: Finding;
}

export type Stretch = {
  readonly from: EpochMs;
  readonly to: EpochMs;
  readonly times: number;
} & (
  | { readonly state: 'raised'; readonly open: Found }
  /** A finding that stands by itself, whatever comes after it. */
  | { readonly state: 'single'; readonly found: Found }
  | { readonly state: 'clear'; readonly first_at: string; readonly ended: Found | null }
  | {
      readonly state: 'not-assessable';
      readonly reason: string;
      readonly first_at: string;
      readonly last_at: string;
      /** What goes on though it cannot be confirmed. */
      readonly open: Found | null;
    }
);

export type Track = History<Stretch>;

const LONGEST = 64;

/**
 * The part that holds nothing later than a moment, nor part of a stretch or an instant that goes beyond it.
 * @returns `after`: what is later than this is to be told again
 */
export function upTo(track: Track, moment: EpochMs): { readonly kept: Track; readonly after: EpochMs } {
  let kept = track;
  let after = moment;
  // What is told again begins at the first instant of a stretch, and several outcomes of one instant stay together.
  while (kept !== null && kept.item.to > after) {
    after = epochMs(Math.min(after, kept.item.from - 1));
    kept = kept.before;
  }
  return { kept, after };
}

export function extended(track: Track, outcomes: readonly Outcome[]): Track {
  return outcomes.reduce(withOutcome, track);
}

function withOutcome(track: Track, outcome: Outcome): Track {
  if (track === null) return append(track, opened(outcome, null));
  const { item: last, before } = track;
  const longer = last.times < LONGEST ? goesOn(last, outcome) : null;
  return longer === null ? append(track, opened(outcome, openIn(last))) : append(before, longer);
}

/** What of an episode stands at the end of a stretch. */
export const openIn = (stretch: Stretch): Found | null => ('open' in stretch ? stretch.open : null);

/** When what the newest stretch tells of was raised: whatever comes next may tell of that again. */
export function raisedIn(track: Track): readonly EpochMs[] {
  if (track === null) return [];
  const { item } = track;
  const found = item.state === 'single' ? item.found : item.state === 'clear' ? item.ended : item.open;
  return found === null ? [] : [found.raised.at];
}

function opened(outcome: Outcome, open: Found | null): Stretch {
  const at = momentOf(outcome);
  const extent = { from: at, to: at, times: 1 };
  switch (outcome.state) {
    case 'raised':
      return { state: 'raised', ...extent, open: withFinding(open, outcome.finding) };
    case 'single':
      return { state: 'single', ...extent, found: withFinding(null, outcome.finding) };
    case 'clear':
      return { state: 'clear', ...extent, first_at: outcome.at_text, ended: open };
    case 'not-assessable': {
      const { reason, at_text } = outcome;
      return { state: 'not-assessable', ...extent, reason, first_at: at_text, last_at: at_text, open };
    }
  }
}

/** The stretch with an outcome more; null where the outcome says something else. */
function goesOn(last: Stretch, outcome: Outcome): Stretch | null {
  const extent = { from: last.from, to: momentOf(outcome), times: last.times + 1 };
  if (last.state === 'raised' && outcome.state === 'raised')
    return { state: 'raised', ...extent, open: withFinding(last.open, outcome.finding) };
  if (last.state === 'clear' && outcome.state === 'clear')
    return { state: 'clear', ...extent, first_at: last.first_at, ended: last.ended };
  if (last.state !== 'not-assessable' || outcome.state !== 'not-assessable') return null;
  const { reason, first_at, open } = last;
  if (reason !== outcome.reason) return null;
  return { state: 'not-assessable', ...extent, reason, first_at, last_at: outcome.at_text, open };
}

const momentOf = (outcome: Outcome): EpochMs => ('finding' in outcome ? outcome.finding.at : outcome.at);

function withFinding(open: Found | null, finding: Finding): Found {
  if (open === null) return { raised: finding, peak: finding, newest: finding };
  return { raised: open.raised, peak: higher(open.peak, finding), newest: finding };
}

const higher = (a: Finding, b: Finding): Finding => (sizeOf(b) > sizeOf(a) ? b : a);

/** Findings of a rule without a number are all alike. */
const sizeOf = ({ value }: Finding): number => (value === null ? 0 : approximately(value));

/** Stretches in order from that at which `since` ends, which may have become longer; all where it is null. */
export function stretchesSince(track: Track, since: Track): readonly Stretch[] {
  const stop = since === null ? null : since.before;
  // Mostly it is that one alone.
  if (track !== null && track.before === stop) return [track.item];
  const stretches: Stretch[] = [];
  for (let node = track; node !== null && node !== stop; node = node.before) stretches.push(node.item);
  return stretches.reverse();
}
