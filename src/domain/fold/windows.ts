/** Drainage over a trailing window of elapsed hours, ending at the level that was just taken. */
import { writeInstantLike } from '../numbers/instant.ts';
import { epochMs, HOUR_MS } from '../numbers/units.ts';
import type { Settings } from '../vocabulary/settings.ts';
import type { LevelPoint } from './interval.ts';
import { type Measured, type SpanSum, spanSum } from './span.ts';

export interface Window extends SpanSum {
  readonly hours: number;
  /** Written in the offset of the level that ends the window. */
  readonly from_text: string;
  readonly to_text: string;
}

/** @returns null while no part of the window is covered */
export function trailingWindow(
  measured: Measured,
  end: LevelPoint,
  hours: number,
  settings: Settings,
): Window | null {
  const from = epochMs(end.at - hours * HOUR_MS);
  const sum = spanSum(measured, from, end.at, settings.max_gap_ms);
  if (sum === null) return null;
  // Field by field: spreading the sum takes longer than working it out, and this runs five times a level.
  return {
    hours,
    from,
    to: end.at,
    from_text: writeInstantLike(from, end.at_text),
    to_text: end.at_text,
    drained: sum.drained,
    sampled: sum.sampled,
    instilled: sum.instilled,
    net: sum.net,
    net_low: sum.net_low,
    net_high: sum.net_high,
    covered_ms: sum.covered_ms,
    interpolated: sum.interpolated,
    uncertainty: sum.uncertainty,
  };
}
