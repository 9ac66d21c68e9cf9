/** Volumes, rates and pressures in words: each with its bound, its error of reading, or why there is no number. */
import type { Cumulative, Figure, Interval, Negativity, Window } from './row-answers.ts';
import { ageText } from './time.ts';
import { wordsFor } from './words.ts';

interface Volume {
  readonly net_ml: number | null;
  readonly uncertainty_ml?: number | null;
  readonly at_least: boolean;
}

const withError = (value: number, uncertainty: number | null | undefined): string =>
  `${value}${uncertainty === null || uncertainty === undefined ? '' : ` ± ${uncertainty}`}`;

const leastText = (isLeast: boolean): string => (isLeast ? 'at least ' : '');

/** 'at least 40 ± 8.2 mL'. @param unit none where a heading names it */
export const volumeText = ({ net_ml, uncertainty_ml, at_least }: Volume, unit = ' mL'): string =>
  net_ml === null ? 'not known' : `${leastText(at_least)}${withError(net_ml, uncertainty_ml)}${unit}`;

export const windowText = (window: Window | undefined): string =>
  window === undefined ? 'not covered' : volumeText(window);

/** What is held to a figure of a policy. */
export const figureText = (figure: Figure | null | undefined, unit: string, isLeast: boolean): string =>
  figure === null || figure === undefined
    ? 'not known'
    : `${leastText(isLeast)}${withError(figure.value, figure.uncertainty)} ${unit}`;

const netOf = (interval: Interval, unit?: string): string =>
  volumeText({ ...interval, at_least: interval.status === 'at-least' }, unit);

const reasonOf = ({ reason }: Interval): string => wordsFor(reason ?? 'not-covered');

const doubtOf = ({ suspect }: Interval): string =>
  suspect ? '; in doubt, as a later fall contradicts it' : '';

export const netText = (interval: Interval, unit?: string): string =>
  interval.net_ml === null
    ? `not known: ${reasonOf(interval)}`
    : `${netOf(interval, unit)}${doubtOf(interval)}`;

export const rateText = (interval: Interval, unit = ' mL/h'): string => {
  const { rate_ml_h, rate_uncertainty_ml_h, rate_reason = '' } = interval;
  return rate_ml_h === null
    ? `no rate, ${wordsFor(rate_reason)}`
    : `${withError(rate_ml_h, rate_uncertainty_ml_h)}${unit}`;
};

/** An interval in few words: its rate, or where it has none its volume. */
export const latestText = (interval: Interval): string =>
  interval.rate_ml_h === null ? netText(interval) : `${rateText(interval)}${doubtOf(interval)}`;

/** 'net 40 ± 4.1 mL in 1 h, 40 ± 4.1 mL/h', or why there is no number. */
export function intervalText(interval: Interval): string {
  const { net_ml, from, to } = interval;
  const time = ageText((Date.parse(to) - Date.parse(from)) / 1000);
  if (net_ml === null) return `net not known over ${time}: ${reasonOf(interval)}`;
  return `net ${netOf(interval)} in ${time}, ${rateText(interval)}${doubtOf(interval)}`;
}

const noTotal = ({ reasons }: Cumulative): string => `no total: ${reasons.map(wordsFor).join(', ')}`;

export function cumulativeText(cumulative: Cumulative): string {
  const { net_ml, sum_of_measured_intervals_ml: sum } = cumulative;
  if (net_ml !== null) return `in all ${volumeText(cumulative)} since placement`;
  return `measured intervals come to ${sum} mL, ${noTotal(cumulative)}`;
}

/** The same below a heading that names the unit; what is no total stands in brackets. */
export function cumulativeCell(cumulative: Cumulative): string {
  const { net_ml, sum_of_measured_intervals_ml: sum } = cumulative;
  return net_ml === null ? `(${sum}) ${noTotal(cumulative)}` : volumeText(cumulative, '');
}

/** @param unit none where a heading names it */
export function negativityText(negativity: Negativity, unit = ' cmH2O below atmosphere'): string {
  const { value_cmh2o, low_cmh2o = null, high_cmh2o = null, reason = '' } = negativity;
  if (value_cmh2o !== null) return `${value_cmh2o}${unit}`;
  if (low_cmh2o === null && high_cmh2o === null) return `not known: ${wordsFor(reason)}`;
  return `${low_cmh2o ?? '?'} to ${high_cmh2o ?? '?'}${unit}, not proven: ${wordsFor(reason)}`;
}
