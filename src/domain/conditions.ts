/**
 * Under what each counted statement of a chart was made: on which unit, with suction on or off, tube clamped or open.
 *
 * One pass over rows in their order: a unit is attached by a set-up or a unit change; on or off persists until
 * changed, across units too; a clamp holds until it is opened. What a reading itself says holds for it.
 */
import type { SetUp, UnitChanged } from './entry.ts';
import type { Span } from './interval.ts';
import type { SuctionSource } from './negativity.ts';
import type { Row } from './row.ts';
import { graduationAt, type UnitProfile } from './unit-profile.ts';
import { type EpochMs, epochMs, microlitres } from './units.ts';

/** A collection unit in use, and the statement that attached it. */
export interface AttachedUnit {
  readonly row: Row;
  readonly content: SetUp | UnitChanged;
}

export interface Conditions {
  readonly unit: AttachedUnit | null;
  readonly source: SuctionSource;
  readonly clamped: boolean;
}

export interface RowUnderConditions {
  readonly row: Row;
  readonly conditions: Conditions;
}

const AT_FIRST: Conditions = { unit: null, source: null, clamped: false };

/** @param rows of a whole chart, in order; those that do not count are left out */
export function underConditions(rows: readonly Row[]): readonly RowUnderConditions[] {
  const counted = rows.filter((row) => row.counted);
  const attachedAt = unitsByTime(counted);
  let now = AT_FIRST;
  let at: EpochMs | null = null;
  let unitBefore: AttachedUnit | null = null;
  return counted.map((row) => {
    if (row.item.at !== at) {
      at = row.item.at;
      unitBefore = now.unit;
    }
    now = after(now, row);
    const isReading = row.item.content.kind === 'reading';
    const unit = isReading ? unitOf(row, unitBefore, attachedAt.get(at) ?? null) : now.unit;
    return { row, conditions: { ...now, unit } };
  });
}

/** The last unit attached at each time. */
function unitsByTime(rows: readonly Row[]): ReadonlyMap<EpochMs, AttachedUnit> {
  const units = new Map<EpochMs, AttachedUnit>();
  for (const row of rows) {
    const unit = attachedBy(row);
    if (unit !== null) units.set(row.item.at, unit);
  }
  return units;
}

function attachedBy(row: Row): AttachedUnit | null {
  const { content } = row.item;
  return content.kind === 'set-up' || content.kind === 'unit-changed' ? { row, content } : null;
}

function after(now: Conditions, row: Row): Conditions {
  const { content } = row.item;
  switch (content.kind) {
    case 'set-up':
      return { ...now, unit: { row, content }, source: content.suction?.source ?? now.source };
    case 'unit-changed':
      return { ...now, unit: { row, content } };
    case 'suction-changed':
      return { ...now, source: content.source };
    case 'clamped':
    case 'unclamped':
      return { ...now, clamped: content.kind === 'clamped' };
    case 'reading':
      return {
        ...now,
        source: content.suction?.source ?? now.source,
        clamped: content.clamped ?? now.clamped,
      };
    default:
      return now;
  }
}

/** A reading of the minute of a unit change was made on the old unit, unless only the opening level is near its level. */
function unitOf(row: Row, before: AttachedUnit | null, attached: AttachedUnit | null): AttachedUnit | null {
  if (attached === null || before === null) return attached ?? before;
  const { content } = row.item;
  if (content.kind !== 'reading' || content.level_ml === undefined || row.leftOut.includes('level'))
    return before;
  const level = content.level_ml.thousandths;
  const isNear = (mark: number | undefined, profile: UnitProfile): boolean =>
    mark !== undefined && Math.abs(level - mark) <= graduationAt(profile, microlitres(mark));
  const { unit_profile: profile, opening_level_ml: opening } = attached.content;
  const closing = attached.content.kind === 'unit-changed' ? attached.content.closing_level_ml : undefined;
  const isOfOld = isNear(closing?.thousandths, before.content.unit_profile);
  return isNear(opening?.thousandths, profile) && !isOfOld ? attached : before;
}

/** Whether suction is imposed; `regulated`: an electronic unit of which nothing else is charted. Null: not known. */
export type SuctionState = 'on' | 'off' | 'regulated' | null;

/** A gravity unit imposes none, whatever is charted; an electronic one holds a pressure by itself. */
export function suctionStateOf({ unit, source }: Conditions): SuctionState {
  const kind = unit?.content.unit_profile.kind;
  if (kind === 'gravity') return 'off';
  return kind === 'electronic' ? (source ?? 'regulated') : source;
}

/** When the tube was clamped, in order; the last span has no end (Infinity) while it still is. */
export function clampedSpans(rows: readonly RowUnderConditions[]): readonly Span[] {
  const spans: Span[] = [];
  let since: EpochMs | null = null;
  for (const { row, conditions } of rows) {
    if (conditions.clamped) since ??= row.item.at;
    else if (since !== null) {
      spans.push({ from: since, to: row.item.at });
      since = null;
    }
  }
  return since === null ? spans : [...spans, { from: since, to: epochMs(Infinity) }];
}
