/**
 * Output that stops after it was steady. No published figure was found, so a row of it is local policy's own.
 *
 * Both stretches have to be covered, and the tube open in the recent one: a clamped tube gives nothing, and that says
 * nothing. It is found only where it is sure: the recent rate plus its error is below the floor, the steady one less
 * its error was not below its own.
 */

import { clampedMs, type LevelPoint } from '../fold/interval.ts';
import { approximately, type Rational } from '../numbers/rational.ts';
import { type EpochMs, epochMs, HOUR_MS } from '../numbers/units.ts';
import type { RuleOf } from '../vocabulary/rule.ts';
import type { Finding, Outcome } from './finding.ts';
import { NOT_OF_VOLUME } from './finding.ts';
import { sumOver, type Tube, type TubesSum } from './tubes.ts';
import { clear, notAssessable } from './volume-rules.ts';

export type StoppingRule = RuleOf<'output-stopping'>;

export function stoppingOutcomes(
  rule: StoppingRule,
  tube: Tube,
  levels: readonly LevelPoint[],
): readonly Outcome[] {
  return levels.map((level) => outcomeAt(rule, tube, level));
}

function outcomeAt(rule: StoppingRule, tube: Tube, level: LevelPoint): Outcome {
  const turn = epochMs(level.at - rule.window_h * HOUR_MS);
  const start = epochMs(turn - rule.steady_h * HOUR_MS);
  if (start < tube.placed) return clear(level);
  if (isClamped(tube, turn, level.at)) return notAssessable(level, 'clamped');
  const maxGapMs = rule.max_gap_h * HOUR_MS;
  const recent = sumOver([tube], turn, level.at, maxGapMs);
  const steady = sumOver([tube], start, turn, maxGapMs);
  if (!recent.covered || !steady.covered) return notAssessable(level, 'not-covered');
  const [now, before] = [rateOf(recent, rule.window_h), rateOf(steady, rule.steady_h)];
  if (now.uncertainty === null || before.uncertainty === null)
    return notAssessable(level, 'uncertainty-not-known');
  const isSteady = approximately(before.gross) - before.uncertainty >= rule.steady_ml_h.toJSON();
  const hasStopped = approximately(now.gross) + now.uncertainty < rule.threshold.toJSON();
  if (!isSteady || !hasStopped) return clear(level);
  const finding: Finding = {
    at: level.at,
    at_text: level.at_text,
    ...NOT_OF_VOLUME,
    value: now.gross,
    net: now.net,
    uncertainty: now.uncertainty,
    instilled: recent.instilled,
    crossed: true,
    within_uncertainty: false,
    by: 'net-and-gross',
    window: { from: turn, to: level.at },
    entries: null,
  };
  return { state: 'raised', finding };
}

/** µL in so many hours, as mL/h. */
function rateOf(sum: TubesSum, hours: number) {
  const perHour = ({ numerator, denominator }: Rational): Rational => ({
    numerator: numerator * 1000n,
    denominator: denominator * BigInt(Math.round(hours * 1000)) * 1000n,
  });
  return {
    gross: perHour(sum.gross),
    net: perHour(sum.net),
    uncertainty: sum.uncertainty === null ? null : sum.uncertainty / 1000 / hours,
  };
}

function isClamped({ state }: Tube, from: EpochMs, to: EpochMs): boolean {
  for (let node = state.intervals; node !== null && node.item.interval.to.at > from; node = node.before) {
    if (clampedMs(node.item.interval, from, to) > 0) return true;
  }
  return false;
}
