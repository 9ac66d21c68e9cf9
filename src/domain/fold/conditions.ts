/**
 * Under what each counted statement of a chart was made: on which unit, with suction on or off, tube clamped or open.
 * What a statement itself says holds for it.
 */

import { type EpochMs, epochMs } from '../numbers/units.ts';
import type { Conditions } from './conditions-held.ts';
import type { Span } from './interval.ts';
import type { Row } from './row.ts';

export interface RowUnderConditions {
  readonly row: Row;
  readonly conditions: Conditions;
}

/** Those that count, in their order. */
export function underConditions(rows: readonly Row[]): readonly RowUnderConditions[] {
  return rows.flatMap((row) => (row.counted ? { row, conditions: row.conditions } : []));
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
