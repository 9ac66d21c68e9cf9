/**
 * Statistics by the names of FHIR's observation-statistics code system, as textbooks define them.
 *
 * `variance`, `std-dev`, `skew` and `kurtosis` are of a sample: n - 1 under the sum of squares (NIST/SEMATECH e-Handbook
 * 1.3.5.6), adjusted Fisher-Pearson skewness (1.3.5.11) and excess kurtosis adjusted alike (G2 of Joanes and Gill 1998).
 * Quantiles are linear between order statistics, at (n - 1) p (Hyndman and Fan 1996, type 7).
 */
import type { Statistic } from '../fhir/search/stats-parameters.ts';

/**
 * @param values measured numbers, all in one unit
 * @param all how many observations there were, those without a number included
 * @returns undefined where so few numbers have no such statistic
 */
export function statistic(name: Statistic, values: readonly number[], all: number): number | undefined {
  if (name === 'count') return values.length;
  if (name === 'total-count') return all;
  if (values.length === 0) return undefined;
  const sorted = [...values].sort((a, b) => a - b);
  const fraction = FRACTIONS[name];
  if (fraction !== undefined) return quantile(sorted, fraction);
  switch (name) {
    case 'sum':
      return sum(sorted);
    case 'average':
      return mean(sorted);
    case '4-dev':
      return (quantile(sorted, 0.75) - quantile(sorted, 0.25)) / 2;
    case 'variance':
      return variance(sorted);
    case 'std-dev':
      return root(variance(sorted));
    case 'skew':
      return skewness(sorted);
    case 'kurtosis':
      return kurtosis(sorted);
    default:
      return undefined;
  }
}

const FRACTIONS: Readonly<Partial<Record<Statistic, number>>> = {
  minimum: 0,
  maximum: 1,
  median: 0.5,
  '20-percent': 0.2,
  '80-percent': 0.8,
  '4-lower': 0.25,
  '4-upper': 0.75,
  '5-1': 0.2,
  '5-2': 0.4,
  '5-3': 0.6,
  '5-4': 0.8,
};

/** With the error of each addition carried on (Kahan-Babuska-Neumaier): long sums of decimals keep their digits. */
function sum(values: readonly number[]): number {
  let [total, lost] = [0, 0];
  for (const value of values) {
    const next = total + value;
    lost += Math.abs(total) >= Math.abs(value) ? total - next + value : value - next + total;
    total = next;
  }
  return total + lost;
}

const mean = (values: readonly number[]): number => sum(values) / values.length;

const root = (value: number | undefined): number | undefined =>
  value === undefined ? undefined : Math.sqrt(value);

/** Sum of the deviations from the mean, to a power. */
function moment(values: readonly number[], power: number): number {
  const middle = mean(values);
  return sum(values.map((value) => (value - middle) ** power));
}

const variance = (values: readonly number[]): number | undefined =>
  values.length < 2 ? undefined : moment(values, 2) / (values.length - 1);

function skewness(values: readonly number[]): number | undefined {
  const n = values.length;
  const spread = moment(values, 2) / n;
  if (n < 3 || spread === 0) return undefined;
  return ((Math.sqrt(n * (n - 1)) / (n - 2)) * (moment(values, 3) / n)) / spread ** 1.5;
}

function kurtosis(values: readonly number[]): number | undefined {
  const n = values.length;
  const spread = moment(values, 2) / n;
  if (n < 4 || spread === 0) return undefined;
  const excess = moment(values, 4) / n / spread ** 2 - 3;
  return ((n - 1) / ((n - 2) * (n - 3))) * ((n + 1) * excess + 6);
}

function quantile(sorted: readonly number[], fraction: number): number {
  const at = (sorted.length - 1) * fraction;
  const [below = 0, above = below] = sorted.slice(Math.floor(at), Math.floor(at) + 2);
  return below + (above - below) * (at - Math.floor(at));
}
