/**
 * Rules on volumes and rates: rolling windows of elapsed hours that end at a level.
 *
 * Compared is drained + sampled, and net (that less what was instilled): crossing by either raises. Net is never
 * more, so a flush can hide a bleed from net alone. A window begins no earlier than the stretch in which the rule
 * holds, and no earlier than the tube. Consecutive hours are rolling 1 h windows, each covered. What is not covered
 * is not assessable, unless the lower bound alone crosses; an hour that is surely below decides for all.
 */

import type { LevelPoint, Span } from '../fold/interval.ts';
import { type Weight, weightFor } from '../fold/weight.ts';
import { approximately, type Rational } from '../numbers/rational.ts';
import { type EpochMs, epochMs, HOUR_MS } from '../numbers/units.ts';
import type { RuleOf } from '../vocabulary/rule.ts';
import { type Finding, isRaised, type Outcome, standingOf } from './finding.ts';
import { fluidAt, populationsOf } from './gate.ts';
import { sumOver, type Tube, type TubesSum } from './tubes.ts';

export type VolumeRule = RuleOf<'volume'> | RuleOf<'rate'>;

/** What is summed for a rule, and whether the tubes at hand may not be all. */
export interface Summed {
  readonly tubes: readonly Tube[];
  readonly mayLack: string | null;
  /** The time in which the rule holds, or why it is not known. */
  readonly stretch: Span | string;
}

/**
 * @param levels later than what was told before, in order
 * @param before the level before them
 */
export function volumeOutcomes(
  rule: VolumeRule,
  summed: Summed,
  levels: readonly LevelPoint[],
  before: EpochMs,
): readonly Outcome[] {
  const { stretch } = summed;
  if (typeof stretch === 'string') return levels.map((level) => notAssessable(level, stretch));
  let last = before;
  return levels.map((level) => {
    // The first level at or after its end completes the stretch.
    const isOver = last >= stretch.to;
    last = level.at;
    return isOver ? clear(level) : outcomeAt(rule, summed, level, stretch);
  });
}

export const clear = ({ at, at_text }: LevelPoint): Outcome => ({ state: 'clear', at, at_text });
export const notAssessable = ({ at, at_text }: LevelPoint, reason: string): Outcome => ({
  state: 'not-assessable',
  at,
  at_text,
  reason,
});

function outcomeAt(rule: VolumeRule, summed: Summed, level: LevelPoint, stretch: Span): Outcome {
  const { tubes } = summed;
  const end = epochMs(Math.min(level.at, stretch.to));
  const first = epochMs(Math.max(stretch.from, Math.min(...tubes.map(({ placed }) => placed))));
  const spans = spansOf(rule, end, first);
  const start = spans[0]?.from;
  if (start === undefined) return clear(level);
  const fits = fluidAt(rule, tubes, level.at);
  if (fits === null) return notAssessable(level, 'fluid-character-not-charted');
  if (!fits) return clear(level);
  const weight = rule.unit === 'mL/kg' || rule.unit === 'mL/kg/h' ? weightAt(start, tubes) : null;
  if (typeof weight === 'string') return notAssessable(level, weight);
  const parts = spans.map(({ from, to }) =>
    partOf(rule, sumOver(tubes, from, to, rule.max_gap_h * HOUR_MS), weight),
  );
  const judged = judge(parts, summed.mayLack);
  if (typeof judged === 'string') return judged === 'clear' ? clear(level) : notAssessable(level, judged);
  const { at, at_text } = level;
  const window = { from: start, to: end };
  return {
    state: 'raised',
    finding: { at, at_text, ...judged, weight, window, is_water: false, entries: null },
  };
}

/** The windows that all have to cross, the earliest first; none while so many hours have not passed. */
function spansOf(rule: VolumeRule, end: EpochMs, first: EpochMs): readonly Span[] {
  if (end <= first) return [];
  if (rule.quantity === 'volume') return [{ from: lastHours(end, rule.window_h, first), to: end }];
  const { consecutive_h: hours } = rule;
  // Of a single hour the part that has passed may cross by itself.
  if (hours === 1) return [{ from: lastHours(end, 1, first), to: end }];
  if (end - hours * HOUR_MS < first) return [];
  return Array.from({ length: hours }, (_, n) => {
    const from = epochMs(end - (hours - n) * HOUR_MS);
    return { from, to: epochMs(from + HOUR_MS) };
  });
}

const lastHours = (end: EpochMs, hours: number, first: EpochMs): EpochMs =>
  epochMs(Math.max(end - hours * HOUR_MS, first));

/** The last weight at or before the start of the window, never a default. */
function weightAt(start: EpochMs, tubes: readonly Tube[]): Weight | string {
  const [tube] = tubes;
  if (tube === undefined) return 'no-weight';
  const { weights, settings } = tube.circumstances;
  return weightFor(start, populationsOf(tubes)[0], weights, settings);
}

interface Part {
  readonly sum: TubesSum;
  readonly gross: Rational;
  readonly net: Rational;
  readonly uncertainty: number | null;
  /** Whether drained + sampled, and net, stand as raised. */
  readonly grossStands: ReturnType<typeof standingOf>;
  readonly netStands: ReturnType<typeof standingOf>;
}

/** µL in the unit of the rule: µL / 1000 = mL, µL / g = mL/kg; a rate is the volume of one hour. */
function partOf(rule: VolumeRule, sum: TubesSum, weight: Weight | null): Part {
  const perUnit = weight === null ? 1000 : weight.weight;
  const inUnit = ({ numerator, denominator }: Rational): Rational => ({
    numerator,
    denominator: denominator * BigInt(perUnit),
  });
  const [gross, net] = [inUnit(sum.gross), inUnit(sum.net)];
  const uncertainty = sum.uncertainty === null ? null : sum.uncertainty / perUnit;
  return {
    sum,
    gross,
    net,
    uncertainty,
    grossStands: standingOf(rule, gross, uncertainty),
    netStands: standingOf(rule, net, uncertainty),
  };
}

type Judged = Omit<Finding, 'at' | 'at_text' | 'weight' | 'window' | 'is_water' | 'entries'>;

/** 'clear', why it is not assessable, or what is found: all parts have to cross. */
function judge(parts: readonly Part[], mayLack: string | null): Judged | string {
  const known = (part: Part): boolean => part.sum.covered && mayLack === null;
  const below = parts.filter(({ grossStands }) => !isRaised(grossStands));
  if (below.some((part) => known(part) && part.uncertainty !== null)) return 'clear';
  if (below.some(({ sum }) => !sum.covered)) return 'not-covered';
  if (below.length > 0) return mayLack ?? 'uncertainty-not-known';
  // A bound that is not known to cross, only not known to fall short, proves nothing.
  const open = parts.find((part) => !known(part) && !part.grossStands.crossed);
  if (open !== undefined) return open.sum.covered ? (mayLack ?? 'not-covered') : 'not-covered';
  const least = parts.reduce((a, b) => (approximately(b.gross) < approximately(a.gross) ? b : a));
  const leastNet = parts.reduce((a, b) => (approximately(b.net) < approximately(a.net) ? b : a));
  return {
    value: least.gross,
    net: leastNet.net,
    uncertainty: least.uncertainty,
    crossed: parts.every(({ grossStands }) => grossStands.crossed),
    within_uncertainty: parts.some(
      ({ uncertainty, grossStands }) => uncertainty === null || grossStands.within_uncertainty,
    ),
    at_least: !parts.every(known),
    by: parts.every(({ netStands }) => isRaised(netStands)) ? 'net-and-gross' : 'gross-only',
    instilled: parts.reduce((sum, part) => sum + part.sum.instilled, 0) as Finding['instilled'],
  };
}
