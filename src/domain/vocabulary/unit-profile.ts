import type { Decimal } from '../numbers/decimal.ts';
import { type Microlitres, microlitres } from '../numbers/units.ts';

/** How the unit shows suction: `gravity` imposes none, `electronic` measures the pressure itself. */
export type UnitKind = 'gravity' | 'wet-suction' | 'dry-suction' | 'electronic';

/** Up to `up_to_ml` the chamber has a mark every `mark_ml`. */
export interface GraduationBand {
  readonly up_to_ml: Decimal;
  readonly mark_ml: Decimal;
}

/** What is known of a kind of collection unit. Configuration; copied into each entry that attaches a unit. */
export interface UnitProfile {
  readonly id: string;
  readonly kind: UnitKind;
  readonly capacity_ml: Decimal;
  /** In rising order; the last band reaches the capacity. */
  readonly graduations: readonly GraduationBand[];
  /** Highest grade of the air-leak scale; absent where the unit has none. */
  readonly leak_scale_max?: Decimal;
  /** Depth to which the water seal is filled, cm H2O. */
  readonly seal_fill_cmh2o?: Decimal;
  /** Whether a seal reading is counted from the chamber's zero (so it includes the fill) or from the fill line. */
  readonly seal_reading_includes_fill: boolean;
  /** Whether the fill depth counts as negativity here: local convention, kept with each total. */
  readonly seal_fill_counts: boolean;
  /**
   * How often a reading that a device sends is charted, minutes: local policy. What it sends in between is kept as interim
   * (interim.ts). Absent: all are charted.
   */
  readonly charted_every_min?: Decimal;
}

/** The distance between marks at a level, mL: one graduation. Above the last band, that of the last band. */
export function graduationAt(profile: UnitProfile, level: Microlitres): Microlitres {
  const band = profile.graduations.find((g) => level <= g.up_to_ml.thousandths) ?? profile.graduations.at(-1);
  return microlitres(band === undefined ? 0 : band.mark_ml.thousandths);
}
