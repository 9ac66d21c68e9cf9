import { HOUR_MS, MINUTE_MS } from '../numbers/units.ts';

/** The choices that derivation depends on. A change is a new version, never a silent one. */
export interface Settings {
  readonly version: string;
  /** A shorter interval keeps its volume and has no rate: 10 mL in 3 min is not 200 mL/h. */
  readonly min_rate_interval_ms: number;
  /** A window edge inside a longer interval is not interpolated. */
  readonly max_gap_ms: number;
  /** How old a weight may be, at the start of an interval, to index its rate. */
  readonly max_weight_age_ms: { readonly adult: number; readonly paediatric: number };
  /** Trailing windows, elapsed hours. */
  readonly trailing_hours: readonly number[];
  /** A rise of more than this, sooner than this, is marked as a sudden jump. Common practice, no source. */
  readonly sudden_jump: { readonly microlitres: number; readonly within_ms: number };
  /** The same level again within this time, under another key, may be one reading charted twice. */
  readonly double_entry_ms: number;
  /** How far a clock may run ahead before its time is marked, and before it is in question or refused. */
  readonly clock_skew_ms: number;
  readonly max_future_ms: number;
}

export const DEFAULT_SETTINGS: Settings = {
  version: '1',
  min_rate_interval_ms: 15 * MINUTE_MS,
  max_gap_ms: 2 * HOUR_MS,
  max_weight_age_ms: { adult: 7 * 24 * HOUR_MS, paediatric: 24 * HOUR_MS },
  trailing_hours: [1, 4, 8, 12, 24],
  sudden_jump: { microlitres: 500_000, within_ms: HOUR_MS },
  double_entry_ms: 5 * MINUTE_MS,
  clock_skew_ms: MINUTE_MS,
  max_future_ms: 5 * MINUTE_MS,
};
