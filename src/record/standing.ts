/** Where the unit, the level, the pressure and the tube of a drain stand after all that is charted. */
import { chamberFill } from '../domain/assessment/chamber.ts';
import { standingNegativity } from '../domain/assessment/standing-negativity.ts';
import { clampedSpans, type RowUnderConditions } from '../domain/fold/conditions.ts';
import type { Row } from '../domain/fold/row.ts';
import type { FoldState } from '../domain/fold/state.ts';
import { chamberView } from './judged-view.ts';
import { standingNegativityView } from './view.ts';

/** @param under all rows of the chart @param lastVolumes the newest of them that has volumes */
export function standingOf(
  { chamber, conditions }: Pick<FoldState, 'chamber' | 'conditions'>,
  under: readonly RowUnderConditions[],
  lastVolumes: Row | undefined,
) {
  const fill = chamberFill(chamber, lastVolumes?.volumes ?? null);
  const level = chamber.run?.last.level;
  const clamped = clampedSpans(under).at(-1);
  const negativity = standingNegativity(under);
  return {
    unit: chamber.profile,
    level_ml: level === undefined ? null : level / 1000,
    chamber: fill === null ? null : chamberView(fill),
    suction_source: conditions.source,
    total_negativity: negativity === null ? null : standingNegativityView(negativity),
    clamped_since: clamped?.to === Infinity ? new Date(clamped.from).toISOString() : null,
  };
}
