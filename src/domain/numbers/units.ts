/**
 * Quantities as whole numbers of a thousandth of their wire unit, so that sums are exact.
 * The brand keeps millilitres from being added to centimetres of water.
 */
export type Microlitres = number & { readonly unit: 'µL' };
export type MilliCmH2O = number & { readonly unit: '0.001 cmH2O' };
export type Grams = number & { readonly unit: 'g' };

/** Milliseconds since 1970-01-01T00:00:00Z. */
export type EpochMs = number & { readonly unit: 'epoch ms' };

export const HOUR_MS = 3_600_000;
export const MINUTE_MS = 60_000;

export const microlitres = (n: number): Microlitres => n as Microlitres;
export const milliCmH2O = (n: number): MilliCmH2O => n as MilliCmH2O;
export const grams = (n: number): Grams => n as Grams;
export const epochMs = (n: number): EpochMs => n as EpochMs;

/** Exact decimal digits of a whole number of thousandths: 1500 -> '1.5', -20 -> '-0.02', 3000 -> '3'. */
export function thousandthsText(thousandths: number): string {
  const sign = thousandths < 0 ? '-' : '';
  const magnitude = Math.abs(thousandths);
  const fraction = magnitude % 1000;
  const whole = (magnitude - fraction) / 1000;
  if (fraction === 0) return `${sign}${whole}`;
  return `${sign}${whole}.${String(fraction).padStart(3, '0').replace(/0+$/, '')}`;
}
