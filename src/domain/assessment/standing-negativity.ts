/**
 * Total negativity as it stands: that of the newest reading that bears on it, until something is charted that changes
 * it. A unit that is attached has a seal and a suction of its own; suction that was changed, water that was added or
 * withdrawn and a vent change what the old one had. What it comes to afterwards is not known before it is read: never
 * carried over, never guessed (common practice, no source). The reading itself stays in the chart as it is.
 */
import type { RowUnderConditions } from '../fold/conditions.ts';
import type { Row } from '../fold/row.ts';
import type { Statement } from '../vocabulary/entry.ts';

export type OvertakenReason =
  | 'unit-attached-since'
  | 'suction-changed-since'
  | 'seal-adjusted-since'
  | 'negativity-vented-since';

export interface StandingNegativity {
  /** The newest reading that bears on it. */
  readonly read: Row;
  /** What was charted after it that changes it; null while the reading stands. */
  readonly overtaken: { readonly by: Row; readonly reason: OvertakenReason } | null;
}

const REASONS: Readonly<Partial<Record<Statement['kind'], OvertakenReason>>> = {
  'set-up': 'unit-attached-since',
  'unit-changed': 'unit-attached-since',
  'suction-changed': 'suction-changed-since',
  'seal-adjusted': 'seal-adjusted-since',
  'negativity-vented': 'negativity-vented-since',
};

/** @param rows in their order, by which what was done in the minute of a reading was done after it */
export function standingNegativity(rows: readonly RowUnderConditions[]): StandingNegativity | null {
  const newest = rows.findLastIndex(({ row }) => row.negativity !== null);
  const read = rows[newest];
  if (read === undefined) return null;
  const unit = read.conditions.unit?.item.id;
  const changes = rows.slice(newest + 1).flatMap(({ row }) => {
    const reason = REASONS[row.item.content.kind];
    // A reading of the minute of a unit change may be of the new unit, and stands before it all the same.
    return reason === undefined || row.item.id === unit ? [] : [{ by: row, reason }];
  });
  return { read: read.row, overtaken: changes.at(-1) ?? null };
}
