/**
 * What sums over recent time need of a drain: the end of its chart's running sums. It is all of them where the chart is
 * at hand, else what was written of them when the chart left memory (sums-text.ts).
 */
import type { Book } from './book.ts';
import type { SummedState } from './calendar-windows.ts';
import { newestAt, stateOf } from './chart.ts';
import type { Circumstances } from './circumstances.ts';
import type { DrainView } from './drain.ts';
import { type EpochMs, epochMs } from './units.ts';

export interface DrainSums {
  readonly drain: string;
  /** The newest statement; null while there is none. */
  readonly newest: EpochMs | null;
  readonly view: Pick<DrainView, 'placedMs' | 'removedMs'>;
  readonly circumstances: Circumstances;
  readonly state: SummedState;
  /** Spans that begin here or later can be summed. */
  readonly since: EpochMs;
}

/** Sums of the whole chart. */
export const sumsOf = ({ drain, chart, view, circumstances }: Book): DrainSums => ({
  drain,
  newest: newestAt(chart),
  view,
  circumstances,
  state: stateOf(chart),
  since: epochMs(-Infinity),
});
