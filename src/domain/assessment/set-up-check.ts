/**
 * What of setting up the unit in use was charted as done: seal filled, suction proven where ordered, connections
 * checked. The newest entry that bears on an item decides; what an earlier unit showed does not count.
 * The three items: common practice, no source.
 */
import type { RowUnderConditions } from '../fold/conditions.ts';
import type { AttachedUnit } from '../fold/conditions-held.ts';
import type { Row } from '../fold/row.ts';
import type { Decimal } from '../numbers/decimal.ts';
import type { SetUp, Suction, UnitChanged } from '../vocabulary/entry.ts';
import type { UnitProfile } from '../vocabulary/unit-profile.ts';

/** `row`: the entry that shows it done, or shows that it is not; null where nothing charted bears on it. */
export interface CheckedItem {
  readonly status: 'done' | 'missing' | 'not-applicable';
  readonly row: Row | null;
}

export interface SetUpCheck {
  readonly unit: AttachedUnit;
  /** The set-up or unit change that attached the unit. */
  readonly attached_by: Row;
  readonly seal_filled: CheckedItem;
  readonly suction_proven: CheckedItem;
  readonly connections_checked: CheckedItem;
}

const NOT_APPLICABLE: CheckedItem = { status: 'not-applicable', row: null };
const NOT_CHARTED: CheckedItem = { status: 'missing', row: null };

const shown = (isDone: boolean, row: Row): CheckedItem => ({ status: isDone ? 'done' : 'missing', row });

/** @returns null while no unit is attached */
export function setUpCheck(rows: readonly RowUnderConditions[]): SetUpCheck | null {
  // A reading of the minute of a change stands after the set-up and may still be of the unit before.
  const attached = rows.findLast(({ row, conditions }) => conditions.unit?.item === row.item);
  const unit = attached?.conditions.unit;
  if (attached === undefined || unit === undefined || unit === null) return null;
  const own = rows.filter(({ conditions }) => conditions.unit?.item === unit.item);
  return {
    unit,
    attached_by: attached.row,
    seal_filled: sealFilled(unit.content.unit_profile, own),
    suction_proven: suctionProven(unit.content.unit_profile, rows, own),
    connections_checked: connectionsChecked(attached.row, unit.content),
  };
}

/** Filled to the depth of the profile, or to any depth where the profile states none. */
function sealFilled(profile: UnitProfile, own: readonly RowUnderConditions[]): CheckedItem {
  if (profile.kind === 'electronic') return NOT_APPLICABLE;
  const fill = profile.seal_fill_cmh2o?.thousandths ?? 0;
  const isFilled = (depth: number): boolean => depth > 0 && depth >= fill;
  // A level counted from the fill line is at the line or above it.
  const isLevelFilled = (level: Decimal): boolean =>
    !profile.seal_reading_includes_fill || isFilled(level.thousandths);
  let item = NOT_CHARTED;
  for (const { row } of own) {
    const { content } = row.item;
    if (content.kind === 'set-up' && content.seal_filled_cmh2o !== undefined)
      item = shown(isFilled(content.seal_filled_cmh2o.thousandths), row);
    const level =
      content.kind === 'reading'
        ? content.seal?.level_cmh2o
        : content.kind === 'seal-adjusted' && content.chamber === 'seal'
          ? content.new_level_cmh2o
          : undefined;
    if (level !== undefined) item = shown(isLevelFilled(level), row);
  }
  return item;
}

/**
 * A wet unit proves suction by bubbling with a column charted, a dry one by its indicator in range with a dial charted.
 * Column or dial may stand in an earlier entry of the unit; a change of suction has to be proven anew.
 */
function suctionProven(
  { kind }: UnitProfile,
  rows: readonly RowUnderConditions[],
  own: readonly RowUnderConditions[],
): CheckedItem {
  if (kind === 'gravity' || kind === 'electronic') return NOT_APPLICABLE;
  if (!isSuctionWanted(rows)) return NOT_APPLICABLE;
  let item = NOT_CHARTED;
  let set: Decimal | undefined;
  for (const { row, conditions } of own) {
    const suction = suctionIn(row);
    if (suction === undefined) continue;
    set = (kind === 'wet-suction' ? suction.column_cmh2o : suction.dial_cmh2o) ?? set;
    const sign = kind === 'wet-suction' ? bubbles(suction) : isInRange(suction);
    if (conditions.source === 'off' || row.item.content.kind === 'suction-changed') item = shown(false, row);
    else if (sign !== null) item = shown(sign && set !== undefined, row);
  }
  return item;
}

/** The last order stands until suction is changed to off or another is charted; suction that is on is wanted. */
function isSuctionWanted(rows: readonly RowUnderConditions[]): boolean {
  let ordered = 0;
  for (const { row } of rows) {
    const suction = suctionIn(row);
    if (suction?.ordered_cmh2o !== undefined) ordered = suction.ordered_cmh2o.thousandths;
    else if (row.item.content.kind === 'suction-changed' && suction?.source === 'off') ordered = 0;
  }
  return ordered > 0 || rows.at(-1)?.conditions.source === 'on';
}

function suctionIn({ item: { content } }: Row): Suction | undefined {
  if (content.kind === 'suction-changed') return content;
  return content.kind === 'set-up' || content.kind === 'reading' ? content.suction : undefined;
}

function bubbles({ bubbling }: Suction): boolean | null {
  return bubbling === undefined ? null : bubbling !== 'none';
}

function isInRange({ indicator }: Suction): boolean | null {
  return indicator === undefined || indicator === 'not-assessed' ? null : indicator === 'in-range';
}

function connectionsChecked(row: Row, { connections_checked: checked }: SetUp | UnitChanged): CheckedItem {
  return checked === undefined ? NOT_CHARTED : shown(checked, row);
}
