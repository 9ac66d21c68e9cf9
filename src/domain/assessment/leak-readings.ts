/** Readings of an open tube that say something of an air leak, with what their values may be compared under. */
import { type RowUnderConditions, type SuctionState, suctionStateOf } from '../fold/conditions.ts';
import type { Row } from '../fold/row.ts';
import type { EpochMs } from '../numbers/units.ts';
import type { LeakPhase } from '../vocabulary/entry.ts';

export interface LeakReading {
  readonly row: Row;
  readonly at: EpochMs;
  /** Thousandths; null where none was charted, or one beyond the scale of the unit. */
  readonly grade: number | null;
  /** Thousandths of mL/min. */
  readonly flow: number | null;
  readonly phase: LeakPhase | null;
  /** Top of the scale of the unit in use, thousandths; null where none is known. */
  readonly scaleMax: number | null;
  readonly suction: SuctionState;
  /** Whether any of grade, flow and phase shows a leak; else it is an assessed absence. */
  readonly leak: boolean;
}

/**
 * In order of time; of several at one moment a leak comes last, so that whoever saw none does not hide it. A clamped
 * tube shows no leak of the lung: what is read then is left out.
 */
export function leakReadings(rows: readonly RowUnderConditions[]): readonly LeakReading[] {
  const readings = rows.flatMap((under) => leakReading(under) ?? []);
  return readings.sort((a, b) => a.at - b.at || Number(a.leak) - Number(b.leak));
}

/** @returns null where a statement says nothing of a leak, or the tube was clamped */
export function leakReading({ row, conditions }: RowUnderConditions): LeakReading | null {
  const { at, content } = row.item;
  if (content.kind !== 'reading' || content.air_leak === undefined || conditions.clamped) return null;
  const { air_leak: charted } = content;
  const isBeyond = row.marks.includes('beyond-leak-scale');
  const grade = isBeyond ? null : (charted.grade?.thousandths ?? null);
  const flow = charted.flow_ml_min?.thousandths ?? null;
  const phase = charted.phase ?? null;
  if (grade === null && flow === null && phase === null) return null;
  return {
    row,
    at,
    grade,
    flow,
    phase,
    scaleMax: conditions.unit?.content.unit_profile.leak_scale_max?.thousandths ?? null,
    suction: suctionStateOf(conditions),
    leak: (grade ?? 0) > 0 || (flow ?? 0) > 0 || (phase !== null && phase !== 'none'),
  };
}
