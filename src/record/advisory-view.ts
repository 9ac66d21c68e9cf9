/** The wire form of advisories: numbers in the unit of their rule, rounded once. */

import type { NotAssessable, Review } from '../domain/advisories/episodes.ts';
import { overdueAt } from '../domain/assessment/overdue.ts';
import type { Advised, AdvisedEpisode, WholeFinding } from '../domain/book/advise.ts';
import type { Book, Subject } from '../domain/book/book.ts';
import { newestAt } from '../domain/fold/chart.ts';
import { digitsBeside, RULE_DECIMALS } from '../domain/fold/shown.ts';
import { writeInstantLike } from '../domain/numbers/instant.ts';
import { rational, roundHalfEven } from '../domain/numbers/rational.ts';
import { type EpochMs, HOUR_MS } from '../domain/numbers/units.ts';
import type { Rule, RuleTable } from '../domain/vocabulary/rule.ts';
import { ALGORITHM } from './receipt.ts';

/**
 * What concerns one drain: its own and those of its patient.
 * @param isTold whether whoever asks may be told of what rests on these drains
 */
export function advisoriesViewOf(
  { drain, circumstances, chart }: Book,
  advised: Advised,
  { version }: RuleTable,
  isTold: (drains: readonly string[]) => boolean,
) {
  const newest = newestAt(chart);
  const ofDrain = ({ drains }: { readonly drains: readonly string[] }) =>
    drains.includes(drain) && isTold(drains);
  return {
    drain,
    derivation: { algorithm: ALGORITHM, settings: circumstances.settings.version },
    rules_version: version,
    as_of: newest === null ? null : new Date(newest).toISOString(),
    advisories: advised.episodes.filter(ofDrain).map(episodeView),
    not_assessable: advised.not_assessable.filter(ofDrain).map(notAssessableView),
    reviews_of_none: advised.reviews_of_none.filter((review) => review.drain === drain).map(reviewView),
  };
}

/** Standing ones of an open drain; one of several drains stands under the first of them by id that is open. */
export function standingViewOf(drain: string, subject: Subject, advised: Advised) {
  const isOpen = (name: string): boolean => {
    const view = subject.get(name)?.view;
    return view !== undefined && view.placedMs !== null && view.removedMs === null;
  };
  return advised.episodes
    .filter(({ ended_at, drains }) => ended_at === null && drains.filter(isOpen).sort()[0] === drain)
    .map(episodeView);
}

export function overdueViewOf({ drain, view, chart }: Book, { reading_every_h }: RuleTable, now: EpochMs) {
  const overdue = overdueAt(view, chart, reading_every_h, now);
  if (overdue === null) return [];
  const { age_ms, expected_h, last_reading_at } = overdue;
  return [
    {
      drain,
      placed_at: view.placed_at,
      last_reading_at,
      age_h: Number(roundHalfEven(rational(age_ms, HOUR_MS), 1)),
      expected_every_h: expected_h,
    },
  ];
}

export const rulesViewOf = ({ version, rules, reading_every_h }: RuleTable) => ({
  version,
  reading_every_h,
  rules: rules.map(ruleView),
});

function ruleView(rule: Rule) {
  const { id, title, on, populations, indications, sites, fluids, basis, quantity, operator, unit } = rule;
  const { threshold, clock, max_gap_h, source, evidence, changed } = rule;
  return {
    id,
    title,
    on,
    populations,
    indications,
    sites,
    fluids,
    basis,
    quantity,
    window_h: 'window_h' in rule ? rule.window_h : null,
    consecutive_h: rule.quantity === 'rate' ? rule.consecutive_h : null,
    steady_h: rule.quantity === 'output-stopping' ? rule.steady_h : null,
    steady_ml_h: rule.quantity === 'output-stopping' ? rule.steady_ml_h.toJSON() : null,
    operator,
    threshold: threshold.toJSON(),
    unit,
    clock,
    max_gap_h,
    source,
    evidence,
    changed,
  };
}

export function episodeView({ id, rule, drains, raised, peak, newest, ended_at, reviews }: AdvisedEpisode) {
  return {
    id,
    rule: ruleView(rule),
    drains,
    raised_at: raised.at_text,
    ended_at,
    raised: findingView(rule, raised),
    peak: findingView(rule, peak),
    newest: findingView(rule, newest),
    reviews: reviews.map(reviewView),
  };
}

function findingView(rule: Rule, finding: WholeFinding) {
  const { at_text, value, net, uncertainty, instilled, weight, window, is_water, ...rest } = finding;
  const { crossed, within_uncertainty, at_least, by, entries } = rest;
  const number = value === null ? null : Number(digitsBeside(value, rule));
  return {
    at: at_text,
    value: number,
    net: net === null ? null : Number(digitsBeside(net, rule)),
    uncertainty: uncertainty === null ? null : Number(uncertainty.toFixed(RULE_DECIMALS[rule.unit])),
    crossed,
    within_uncertainty,
    at_least,
    by,
    instilled_ml: instilled === null ? null : instilled / 1000,
    weight_kg: weight === null ? null : weight.weight / 1000,
    water_to_add_cmh2o: is_water ? number : null,
    window:
      window === null
        ? null
        : { from: writeInstantLike(window.from, at_text), to: writeInstantLike(window.to, at_text) },
    entries,
  };
}

function notAssessableView({ rule, drains, reason, seen, now }: NotAssessable) {
  return {
    rule: rule.id,
    title: rule.title,
    drains,
    reason,
    first_at: seen?.first_at ?? null,
    last_at: seen?.last_at ?? null,
    times: seen?.times ?? null,
    now,
  };
}

export const reviewView = ({ advisory, drain, entry, words, author, at_text }: Review) => ({
  advisory,
  drain,
  entry,
  words,
  author,
  at: at_text,
});
