/**
 * Rules on what one entry shows: pressures, and how full the chamber is.
 *
 * Pressures are positive magnitudes, cm H2O; no reading error is known for them, so their operator alone decides.
 * Total negativity is tested by the lower end where it is a range. Suction shown is the column of a wet unit and the
 * dial of a dry one; an order stands until another is charted. A seal level counted from the fill line is at the
 * line or above it; a depth charted at set-up is counted from the bottom.
 */
import { leakOrigin } from '../assessment/air-leak.ts';
import { leakReading } from '../assessment/leak-readings.ts';
import type { RowUnderConditions } from '../fold/conditions.ts';
import { expanded, levelVariance } from '../fold/uncertainty.ts';
import type { Decimal } from '../numbers/decimal.ts';
import { type Rational, rational } from '../numbers/rational.ts';
import { type EpochMs, HOUR_MS, microlitres } from '../numbers/units.ts';
import type { Suction } from '../vocabulary/entry.ts';
import type { Rule, RuleOf } from '../vocabulary/rule.ts';
import { graduationAt, type UnitProfile } from '../vocabulary/unit-profile.ts';
import { NOT_OF_VOLUME, type Outcome, standingOf, WITHOUT_NUMBER } from './finding.ts';
import type { Tube } from './tubes.ts';

const DAY_MS = 24 * HOUR_MS;

export type ReadingRule = RuleOf<
  | 'total-negativity'
  | 'imposed-below-ordered'
  | 'seal-below-fill'
  | 'chamber-fill'
  | 'leak-days'
  | 'swing-lost'
>;

/** What an entry shows for a rule, why it shows nothing, or null where it has no bearing. */
type Shown =
  | { readonly value: Rational; readonly uncertainty: number | null; readonly is_water?: boolean }
  /** Of a rule without a number. */
  | { readonly found: boolean }
  | string
  | null;

/** What entries later than a moment show. */
export function readingOutcomes(rule: ReadingRule, tube: Tube, after: EpochMs): readonly Outcome[] {
  const outcomes = tube.rowsAfter(after).flatMap((each): Outcome[] => {
    const shown = shownFor(rule, each, tube);
    return shown === null ? [] : [outcomeOf(rule, each, shown)];
  });
  return rule.quantity === 'leak-days' || rule.quantity === 'swing-lost' ? withoutHiding(outcomes) : outcomes;
}

/** Whoever saw no leak, or a swing, does not end what another reading of the same moment shows. */
function withoutHiding(outcomes: readonly Outcome[]): readonly Outcome[] {
  const shown = new Set(outcomes.flatMap((each) => (each.state === 'raised' ? [each.finding.at] : [])));
  return outcomes.filter((each) => each.state !== 'clear' || !shown.has(each.at));
}

function shownFor(rule: ReadingRule, each: RowUnderConditions, { view }: Tube): Shown {
  switch (rule.quantity) {
    case 'total-negativity':
      return negativityShown(rule, each);
    case 'imposed-below-ordered':
      return belowOrdered(each);
    case 'leak-days':
      return leakDaysShown(each, view);
    case 'swing-lost':
      return swingShown(each);
    case 'seal-below-fill':
      return belowFill(each);
    case 'chamber-fill':
      return fillShown(each);
  }
}

function outcomeOf(rule: Rule, { row: { item } }: RowUnderConditions, shown: Exclude<Shown, null>): Outcome {
  const { at } = item;
  const at_text = item.content.effective_at;
  if (typeof shown === 'string') return { state: 'not-assessable', at, at_text, reason: shown };
  const entries = [item.id];
  if ('found' in shown) {
    if (!shown.found) return { state: 'clear', at, at_text };
    return { state: 'raised', finding: { at, at_text, ...NOT_OF_VOLUME, ...WITHOUT_NUMBER, entries } };
  }
  const { value, uncertainty, is_water = false } = shown;
  const { crossed, within_uncertainty } = standingOf(rule, value, uncertainty);
  if (!crossed && !within_uncertainty) return { state: 'clear', at, at_text };
  // Field by field: high negativity stands at most readings, and spreading took longer than judging.
  const finding = {
    at,
    at_text,
    value,
    net: null,
    uncertainty,
    crossed,
    within_uncertainty,
    at_least: false,
    by: null,
    instilled: null,
    weight: null,
    window: null,
    is_water,
    entries,
  };
  return { state: 'raised', finding };
}

const pressure = (thousandths: number, is_water = false): Shown => ({
  value: rational(thousandths, 1000),
  uncertainty: null,
  is_water,
});

function negativityShown(rule: Rule, { row: { negativity } }: RowUnderConditions): Shown {
  if (negativity === null) return null;
  if (negativity.value !== null) return pressure(negativity.value);
  const { low, high, reason } = negativity;
  const crosses = (end: number) => standingOf(rule, rational(end, 1000), null).crossed;
  if (low !== null && crosses(low)) return pressure(low);
  if (high === null) return reason;
  if (crosses(high)) return 'only-upper-end-crosses';
  return pressure(high);
}

/** Elapsed days from the chest closure, else the placement, to a leak that was seen; it ends when none is. */
function leakDaysShown(each: RowUnderConditions, view: Tube['view']): Shown {
  const reading = leakReading(each);
  if (reading === null) return null;
  if (!reading.leak) return { found: false };
  const from = leakOrigin(view);
  if (from === undefined || reading.at < from.ms) return 'leak-before-origin';
  return { value: rational(reading.at - from.ms, DAY_MS), uncertainty: null };
}

/** No swing in an open tube that swung before; a tube that never swung has lost nothing. */
function swingShown({ row: { item }, conditions }: RowUnderConditions): Shown {
  const { content } = item;
  if (content.kind !== 'reading' || conditions.clamped) return null;
  if (content.tidaling === undefined || content.tidaling === 'not-assessed') return null;
  return { found: content.tidaling === 'absent' && conditions.swung };
}

function suctionIn({ row: { item } }: RowUnderConditions): Suction | undefined {
  const { content } = item;
  if (content.kind === 'suction-changed') return content;
  return content.kind === 'set-up' || content.kind === 'reading' ? content.suction : undefined;
}

/** Ordered − shown, cm H2O; of a wet unit it is the depth of water to add. */
function belowOrdered(each: RowUnderConditions): Shown {
  const suction = suctionIn(each);
  const { unit, source, ordered } = each.conditions;
  if (suction === undefined || unit === null) return suction === undefined ? null : 'unit-unknown';
  const { kind } = unit.content.unit_profile;
  if (kind === 'gravity' || kind === 'electronic') return null;
  // With suction off there is nothing imposed that could fall short; what stood of it ends.
  if (source === 'off') return pressure(0);
  const shown = kind === 'wet-suction' ? suction.column_cmh2o : suction.dial_cmh2o;
  if (ordered === null) return shown === undefined ? null : 'ordered-suction-not-charted';
  if (shown === undefined) return 'suction-not-charted';
  if (source === null) return 'suction-source-not-charted';
  return pressure(ordered.thousandths - shown.thousandths, kind === 'wet-suction');
}

/** Fill depth − seal level, cm H2O: the depth of water to add. */
function belowFill({ row: { item }, conditions }: RowUnderConditions): Shown {
  const { content } = item;
  const profile = conditions.unit?.content.unit_profile;
  const fill = profile?.seal_fill_cmh2o?.thousandths;
  const depth = content.kind === 'set-up' ? content.seal_filled_cmh2o : undefined;
  const seal = content.kind === 'reading' ? content.seal : undefined;
  const added =
    content.kind === 'seal-adjusted' && content.chamber === 'seal' ? content.new_level_cmh2o : undefined;
  const level = seal?.level_cmh2o ?? added;
  if (depth === undefined && level === undefined)
    return seal === undefined ? null : 'only-seal-swing-charted';
  if (profile === undefined) return 'unit-unknown';
  if (profile.kind === 'electronic') return null;
  if (fill === undefined) return 'seal-fill-not-in-profile';
  if (depth !== undefined) return pressure(fill - depth.thousandths, true);
  const lacking = profile.seal_reading_includes_fill && level !== undefined ? fill - level.thousandths : 0;
  return pressure(lacking, true);
}

/** Level / capacity, with the reading error of the level. */
function fillShown({ row, conditions: { unit } }: RowUnderConditions): Shown {
  const level = levelIn(row);
  if (level === undefined) return null;
  if (unit === null) return 'unit-unknown';
  if (level === null) return 'opening-level-not-stated';
  return fillOf(level.thousandths, unit.content.unit_profile);
}

/** Undefined where an entry has no bearing on the level of the unit in use; null where it starts one at a level unknown. */
function levelIn({ item: { content }, leftOut }: RowUnderConditions['row']): Decimal | null | undefined {
  switch (content.kind) {
    case 'reading':
      return leftOut.includes('level') ? undefined : content.level_ml;
    case 'set-up':
    case 'unit-changed':
      return leftOut.includes('opening') ? undefined : (content.opening_level_ml ?? null);
    case 'level-rebased':
      return leftOut.includes('opening') ? undefined : content.new_level_ml;
    default:
      return undefined;
  }
}

function fillOf(thousandths: number, profile: UnitProfile): Shown {
  const capacity = profile.capacity_ml.thousandths;
  const graduation = graduationAt(profile, microlitres(thousandths));
  const error = expanded(levelVariance({ graduation }));
  return {
    value: rational(thousandths, capacity),
    uncertainty: error === null ? null : error / capacity,
  };
}
