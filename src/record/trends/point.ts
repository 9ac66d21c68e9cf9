/** The vocabulary of trends: what can be drawn over time, in which unit, and what one point of it says. */
import type { Span } from '../../domain/fold/interval.ts';
import type { EpochMs } from '../../domain/numbers/units.ts';

/** Series with their UCUM unit. */
export const SERIES = {
  net: 'mL',
  cumulative: 'mL',
  rate: 'mL/h',
  rate_per_kg: 'mL/kg/h',
  window_1h: 'mL',
  window_4h: 'mL',
  window_8h: 'mL',
  window_12h: 'mL',
  window_24h: 'mL',
  suction: 'cm[H2O]',
  seal: 'cm[H2O]',
  total_negativity: 'cm[H2O]',
  leak_grade: '{grade}',
  leak_flow: 'mL/min',
} as const;

export type SeriesName = keyof typeof SERIES;

export const SERIES_NAMES = Object.keys(SERIES) as readonly SeriesName[];

/** Of these several drains of a patient have a sum. */
export const SUMMED = ['net', 'cumulative', 'rate', 'rate_per_kg'] as const satisfies readonly SeriesName[];
export type SummedName = (typeof SUMMED)[number];

export const BUCKETS = ['raw', '15min', 'hour', 'shift', 'day'] as const;
export type Bucket = (typeof BUCKETS)[number];

/** For the eye only; they decide nothing. */
export type Flag = 'suspect' | 'low-confidence' | 'preliminary' | 'interpolated';

/** What is known over a time, or at a moment where both ends are alike; in the unit of its series. */
export interface Point extends Span {
  /** Rounded once, half to even; null with its reasons. */
  readonly value: number | null;
  /** Why there is no value, or why it is a lower bound. */
  readonly reasons: readonly string[];
  /** What the value may be at least and at most: an unproven pressure, a cut interval, the readings of a bucket. */
  readonly low: number | null;
  readonly high: number | null;
  /** Expanded (k = 2) reading error; null where none is known. */
  readonly uncertainty: number | null;
  /** Part of the time that measured intervals cover, 0 to 1; null for what is read at moments. */
  readonly coverage: number | null;
  /** A lower bound. */
  readonly at_least: boolean;
  readonly flags: readonly Flag[];
  /** How many readings stand behind it; null for what is summed over time. */
  readonly readings: number | null;
  /** Top of the leak scale that a grade is of. */
  readonly scale_max: number | null;
}

export const NO_POINT: Omit<Point, 'from' | 'to'> = {
  value: null,
  reasons: [],
  low: null,
  high: null,
  uncertainty: null,
  coverage: null,
  at_least: false,
  flags: [],
  readings: null,
  scale_max: null,
};

/** Flags that are raised, in the order given. */
export const flagsOf = (raised: Readonly<Partial<Record<Flag, boolean>>>): readonly Flag[] =>
  (Object.keys(raised) as Flag[]).filter((flag) => raised[flag]);

export const moment = (at: EpochMs): Span => ({ from: at, to: at });
