/** What $stats can be asked for. */

/** By the codes of http://terminology.hl7.org/CodeSystem/observation-statistics: their displays. */
export const STATISTICS = {
  average: 'Average',
  maximum: 'Maximum',
  minimum: 'Minimum',
  count: 'Count',
  'total-count': 'Total Count',
  median: 'Median',
  'std-dev': 'Standard Deviation',
  sum: 'Sum',
  variance: 'Variance',
  '20-percent': '20th Percentile',
  '80-percent': '80th Percentile',
  '4-lower': 'Lower Quartile',
  '4-upper': 'Upper Quartile',
  '4-dev': 'Quartile Deviation',
  '5-1': '1st Quintile',
  '5-2': '2nd Quintile',
  '5-3': '3rd Quintile',
  '5-4': '4th Quintile',
  skew: 'Skew',
  kurtosis: 'Kurtosis',
} as const satisfies Readonly<Record<string, string>>;

export type Statistic = keyof typeof STATISTICS;

export const STATS_PARAMETERS = {
  subject: 'Whose observations: a reference.',
  code: 'Code of the observations; once for each, in the system that `system` names, if any.',
  system: 'System of the codes.',
  coding: 'System and code of the observations, as system|code; once for each.',
  duration: 'Hours back from now.',
  period: 'Start and end with a slash between, either left out where it is open; instead of duration.',
  statistic: `One of ${Object.keys(STATISTICS).join(', ')}, or min, max; once for each, or with commas.`,
  include: 'true: the observations as well.',
  limit: 'Most of those observations; over 10000 are refused.',
} as const satisfies Readonly<Record<string, string>>;
