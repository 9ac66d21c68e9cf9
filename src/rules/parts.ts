/** Short hands for writing rows of the table. */
import { Decimal } from '../domain/numbers/decimal.ts';
import type { Clock, Measure, RuleGate } from '../domain/vocabulary/rule.ts';

export const dec = (digits: string): Decimal => Decimal.of(digits);

export const ml = (window_h: number): Measure => ({ quantity: 'volume', unit: 'mL', window_h });
export const mlKg = (window_h: number): Measure => ({ quantity: 'volume', unit: 'mL/kg', window_h });
export const mlH = (consecutive_h: number): Measure => ({ quantity: 'rate', unit: 'mL/h', consecutive_h });
export const mlKgH = (consecutive_h: number): Measure => ({
  quantity: 'rate',
  unit: 'mL/kg/h',
  consecutive_h,
});

/** Hours after chest closure. */
export const closure = (from_h: number, to_h: number | null): Clock => ({
  origin: 'chest-closure',
  from_h,
  to_h,
});
const ANY_TIME: Clock = { origin: 'none', from_h: 0, to_h: null };

export const ANY_DRAIN: RuleGate = { populations: null, indications: null, sites: null, fluids: null };

/** What rows have in common unless they say otherwise. */
export const USUAL = { clock: ANY_TIME, max_gap_h: 2, on: true, changed: [] } as const;
