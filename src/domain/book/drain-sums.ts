/**
 * What sums over recent time need of a drain: the end of its chart's running sums. It is all of them where the chart is
 * at hand, else what was written of them when the chart left memory (sums-text.ts).
 */

import type { SummedState } from '../calendar/calendar-windows.ts';
import { newestAt, stateOf } from '../fold/chart.ts';
import type { Circumstances } from '../fold/circumstances.ts';
import type { DrainView } from '../fold/drain.ts';
import { type EpochMs, HOUR_MS } from '../numbers/units.ts';
import type { Book } from './book.ts';

export interface DrainSums {
  readonly drain: string;
  /** The newest statement; null while there is none. */
  readonly newest: EpochMs | null;
  readonly view: Pick<DrainView, 'placedMs' | 'removedMs' | 'site' | 'patient'>;
  readonly circumstances: Circumstances;
  readonly state: SummedState;
  /** Spans that begin here or later can be summed. */
  readonly since: EpochMs;
}

/** All sums that the chart holds. */
export const sumsOf = ({ drain, chart, view, circumstances }: Book): DrainSums => ({
  drain,
  newest: newestAt(chart),
  view,
  circumstances,
  state: stateOf(chart),
  since: chart.sumsSince,
});

/** How far back before the newest statement sums are written, ms, and at most how many intervals. */
export interface Reach {
  readonly ms: number;
  /** Of a chamber that is read every few seconds less time is kept. */
  readonly most: number;
}

/** A day by clock hours begins up to an hour earlier than the day. */
export const A_DAY: Reach = { ms: 26 * HOUR_MS, most: 300 };
/** Five weeks by day begin up to a day earlier, which may last 25 h; a week that is read every five minutes has 2,016 intervals. */
export const WEEKS: Reach = { ms: (36 * 24 + 1) * HOUR_MS, most: 2500 };
