/** Running sums over a drain's intervals and over what was put in or taken out, kept beside each so that any span is a subtraction. */
import { append, type History } from '../numbers/history.ts';
import { type EpochMs, type Microlitres, microlitres } from '../numbers/units.ts';
import { type Interval, isMeasured, lengthMs } from './interval.ts';
import { NO_VARIANCE, type VarianceSum, withVariance } from './uncertainty.ts';

export interface SummedInterval {
  readonly interval: Interval;
  readonly sums: IntervalSums;
}

/** Over all intervals up to and with this one. */
export interface IntervalSums {
  /** Drained in measured intervals, and the lower bounds of those that have only one, µL. */
  readonly drained: number;
  readonly sampled: number;
  readonly instilled: number;
  /** Drained in intervals whose rise is in doubt: beside the sum, never in it, µL. */
  readonly suspect: number;
  readonly measuredMs: number;
  readonly variance: VarianceSum;
}

const NO_INTERVALS: IntervalSums = {
  drained: 0,
  sampled: 0,
  instilled: 0,
  suspect: 0,
  measuredMs: 0,
  variance: NO_VARIANCE,
};

export function intervalSums(history: History<SummedInterval>): IntervalSums {
  return history === null ? NO_INTERVALS : history.item.sums;
}

export function appendInterval(
  history: History<SummedInterval>,
  interval: Interval,
): History<SummedInterval> {
  return append(history, { interval, sums: withInterval(intervalSums(history), interval) });
}

function withInterval(sums: IntervalSums, interval: Interval): IntervalSums {
  const { risesFrom, to } = interval;
  if (interval.drained === null || risesFrom === null) return sums;
  if (interval.suspect) return { ...sums, suspect: sums.suspect + interval.drained };
  return {
    drained: sums.drained + interval.drained,
    sampled: sums.sampled + interval.sampled,
    instilled: sums.instilled + interval.instilled,
    suspect: sums.suspect,
    measuredMs: sums.measuredMs + (isMeasured(interval) ? lengthMs(interval) : 0),
    variance: withVariance(sums.variance, risesFrom, to),
  };
}

/** A volume at an instant: put in through the tube, or taken out before it reached the chamber. */
export interface Flow {
  /** Of the entry that charts it. */
  readonly id: string;
  readonly at: EpochMs;
  readonly sampled: Microlitres;
  readonly instilled: Microlitres;
}

export interface SummedFlow extends Flow {
  readonly sampledSum: number;
  readonly instilledSum: number;
}

export function appendFlow(history: History<SummedFlow>, flow: Flow): History<SummedFlow> {
  const before = flowSums(history);
  return append(history, {
    ...flow,
    sampledSum: before.sampled + flow.sampled,
    instilledSum: before.instilled + flow.instilled,
  });
}

export function flowSums(history: History<SummedFlow>): { sampled: Microlitres; instilled: Microlitres } {
  return {
    sampled: microlitres(history?.item.sampledSum ?? 0),
    instilled: microlitres(history?.item.instilledSum ?? 0),
  };
}
