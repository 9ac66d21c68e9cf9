/**
 * Total negativity: imposed suction + seal part, a positive magnitude below atmosphere, 0.001 cm H2O.
 *
 * All parts come from one reading; only whether the source is on or off persists until changed. Suction counts when
 * it is proven: a wet column by its bubbling, a dry dial by its indicator. What is unproven or not charted gives a
 * range and the reason, never a number. An electronic unit measures: its total is −pressure.
 * Sum of suction and seal: common practice, no source. The column, not the wall gauge: Clinical Application of
 * Mechanical Ventilation, 2014, p. 468.
 */

import { type MilliCmH2O, milliCmH2O } from '../numbers/units.ts';
import type { Reading, Seal, Suction } from '../vocabulary/entry.ts';
import type { UnitProfile } from '../vocabulary/unit-profile.ts';

export type NegativityReason =
  | 'unit-unknown'
  | 'seal-level-not-charted'
  | 'only-seal-swing-charted'
  | 'suction-source-not-charted'
  | 'suction-not-charted'
  | 'bubbling-not-charted'
  | 'no-bubbling'
  | 'indicator-not-charted'
  | 'indicator-out-of-range'
  | 'pressure-not-charted'
  | 'positive-pressure';

/** Either an exact value, or a range (its top unknown when null) with the reason why there is no value. */
export type Negativity =
  | { readonly value: MilliCmH2O }
  | {
      readonly value: null;
      readonly low: MilliCmH2O | null;
      readonly high: MilliCmH2O | null;
      readonly reason: NegativityReason;
    };

export type SuctionSource = 'on' | 'off' | null;

/** @returns null when the reading charts nothing that bears on pressure */
export function totalNegativity(
  reading: Reading,
  profile: UnitProfile | null,
  source: SuctionSource,
): Negativity | null {
  const { suction, seal, pressure_cmh2o: pressure } = reading;
  if (suction === undefined && seal === undefined && pressure === undefined) return null;
  if (profile === null) return absent('unit-unknown', null, null);
  if (profile.kind === 'electronic') return measured(pressure?.thousandths);
  const sealPart = sealRange(seal, profile);
  const imposed =
    profile.kind === 'gravity' || source === 'off' ? NOTHING : imposedSuction(profile, suction, source);
  return sum(sealPart, imposed);
}

function measured(pressure: number | undefined): Negativity {
  if (pressure === undefined) return absent('pressure-not-charted', null, null);
  if (pressure > 0) return absent('positive-pressure', null, null);
  return { value: milliCmH2O(0 - pressure) };
}

/** A part of the total; a range of one point has no reason. */
interface Part {
  readonly low: number | null;
  readonly high: number | null;
  readonly reason: NegativityReason | null;
}

const NOTHING: Part = { low: 0, high: 0, reason: null };

/** The seal reading in the profile's convention: the fill depth is taken off, or put on, as local policy says. */
function sealRange(seal: Seal | undefined, profile: UnitProfile): Part {
  const fill = profile.seal_fill_cmh2o?.thousandths ?? 0;
  const part = (reading: number): number => {
    if (profile.seal_reading_includes_fill)
      return profile.seal_fill_counts ? reading : Math.max(0, reading - fill);
    return profile.seal_fill_counts ? reading + fill : reading;
  };
  if (seal?.level_cmh2o !== undefined) {
    const level = part(seal.level_cmh2o.thousandths);
    return { low: level, high: level, reason: null };
  }
  const { swing_low_cmh2o: low, swing_high_cmh2o: high } = seal ?? {};
  if (low === undefined && high === undefined)
    return { low: null, high: null, reason: 'seal-level-not-charted' };
  return {
    low: low === undefined ? null : part(low.thousandths),
    high: high === undefined ? null : part(high.thousandths),
    reason: 'only-seal-swing-charted',
  };
}

function imposedSuction(profile: UnitProfile, suction: Suction | undefined, source: SuctionSource): Part {
  const shown = profile.kind === 'wet-suction' ? suction?.column_cmh2o : suction?.dial_cmh2o;
  const set = shown ?? suction?.ordered_cmh2o;
  const upTo = (reason: NegativityReason): Part => ({
    low: 0,
    high: set === undefined ? null : set.thousandths,
    reason,
  });
  if (source === null) return upTo('suction-source-not-charted');
  if (shown === undefined) return upTo('suction-not-charted');
  const doubt = profile.kind === 'wet-suction' ? bubblingDoubt(suction) : indicatorDoubt(suction);
  return doubt === null ? { low: shown.thousandths, high: shown.thousandths, reason: null } : upTo(doubt);
}

function bubblingDoubt(suction: Suction | undefined): NegativityReason | null {
  if (suction?.bubbling === undefined) return 'bubbling-not-charted';
  return suction.bubbling === 'none' ? 'no-bubbling' : null;
}

function indicatorDoubt(suction: Suction | undefined): NegativityReason | null {
  if (suction?.indicator === undefined || suction.indicator === 'not-assessed')
    return 'indicator-not-charted';
  return suction.indicator === 'out-of-range' ? 'indicator-out-of-range' : null;
}

function sum(seal: Part, imposed: Part): Negativity {
  const low = plus(seal.low, imposed.low);
  const high = plus(seal.high, imposed.high);
  const reason = imposed.reason ?? seal.reason;
  if (reason !== null) return absent(reason, low, high);
  if (low === null) return absent('seal-level-not-charted', null, high);
  return { value: milliCmH2O(low) };
}

const plus = (a: number | null, b: number | null): number | null => (a === null || b === null ? null : a + b);

function absent(reason: NegativityReason, low: number | null, high: number | null): Negativity {
  return {
    value: null,
    low: low === null ? null : milliCmH2O(low),
    high: high === null ? null : milliCmH2O(high),
    reason,
  };
}
