/**
 * What all drains of a patient gave in a window: sums are exact, uncertainties add in squares, as the levels of
 * different drains are read independently (JCGM 100:2008, 5.1.2). It is incomplete, a lower bound, if one of the drains is.
 */

import type { Span } from '../fold/interval.ts';
import { add, rational } from '../numbers/rational.ts';
import { type EpochMs, epochMs, type Microlitres, microlitres } from '../numbers/units.ts';
import type { Settings } from '../vocabulary/settings.ts';
import {
  type CalendarWindow,
  calendarWindow,
  closedUntil,
  type InPlace,
  newestLevelAt,
  type SummedState,
  type UncoveredReason,
  type WindowSum,
} from './calendar-windows.ts';

/** One of the patient's drains, as its chart leaves it. */
export interface DrainOfPatient extends InPlace {
  readonly drain: string;
  readonly state: SummedState;
}

export interface PatientWindow extends Span {
  /** Over the drains of which something is known; null while there is none. */
  readonly sum: WindowSum | null;
  /** Of all its drains together: two drains in place for an hour are two hours. */
  readonly in_place_ms: number;
  readonly covered_ms: number;
  /** Drains whose part is not covered, and why; with any, the sum is a lower bound. */
  readonly incomplete: readonly { readonly drain: string; readonly reasons: readonly UncoveredReason[] }[];
  readonly preliminary: boolean;
  /** Those in place in any of it. */
  readonly drains: readonly { readonly drain: string; readonly window: CalendarWindow }[];
}

export function patientWindow(
  drains: readonly DrainOfPatient[],
  window: Span,
  settings: Settings,
): PatientWindow {
  const parts = drains.flatMap(({ drain, state, ...inPlace }) => {
    const part = calendarWindow(state, inPlace, window, settings);
    return part === null ? [] : [{ drain, window: part }];
  });
  const windows = parts.map((part) => part.window);
  return {
    from: window.from,
    to: window.to,
    sum: total(windows.map((part) => part.sum)),
    in_place_ms: windows.reduce((so, part) => so + part.in_place_ms, 0),
    covered_ms: windows.reduce((so, part) => so + part.covered_ms, 0),
    incomplete: parts.flatMap(({ drain, window: part }) =>
      part.covered_ms < part.in_place_ms ? [{ drain, reasons: part.uncovered }] : [],
    ),
    preliminary: windows.some((part) => part.preliminary),
    drains: parts,
  };
}

function total(parts: readonly (WindowSum | null)[]): WindowSum | null {
  const sums = parts.flatMap((part) => part ?? []);
  if (sums.length === 0) return null;
  const highs = parts.flatMap((part) => part?.net_high ?? []);
  const of = (part: (sum: WindowSum) => number) => microlitres(sums.reduce((so, sum) => so + part(sum), 0));
  return {
    drained: sums.reduce((so, { drained }) => add(so, drained), rational(0)),
    sampled: of(({ sampled }) => sampled),
    instilled: of(({ instilled }) => instilled),
    net: sums.reduce((so, { net }) => add(so, net), rational(0)),
    net_low: of((sum) => sum.net_low),
    // What a drain gave of which nothing is known has no bound either.
    net_high: highs.length < parts.length ? null : microlitres(highs.reduce((so, high) => so + high, 0)),
    interpolated: sums.some(({ interpolated }) => interpolated),
    uncertainty: inSquares(sums.map(({ uncertainty }) => uncertainty)),
  };
}

/** √(ΣU²), µL; null if one is not known. */
function inSquares(uncertainties: readonly (Microlitres | null)[]): Microlitres | null {
  let squares = 0;
  for (const uncertainty of uncertainties) {
    if (uncertainty === null) return null;
    squares += uncertainty ** 2;
  }
  return microlitres(Math.sqrt(squares));
}

/** The last time that all drains have closed; once all are out, their newest level; null while there is neither. */
export function closedTogether(drains: readonly DrainOfPatient[]): EpochMs | null {
  const closed = drains.flatMap((drain) => closedUntil(drain.state, drain) ?? []);
  const together = Math.min(...closed);
  if (closed.length > 0 && together < Infinity) return epochMs(together);
  const newest = Math.max(...drains.map(({ state }) => newestLevelAt(state) ?? -Infinity));
  return newest === -Infinity ? null : epochMs(newest);
}
