/** Drains as rules see them, and what several of them drained together between two moments. */
import type { Chart } from '../fold/chart.ts';
import { rowsFrom, stateOf } from '../fold/chart.ts';
import type { Circumstances } from '../fold/circumstances.ts';
import { type RowUnderConditions, underConditions } from '../fold/conditions.ts';
import { type DrainView, patientKey } from '../fold/drain.ts';
import type { LevelPoint } from '../fold/interval.ts';
import { type SpanSum, spanSum } from '../fold/span.ts';
import type { FoldState } from '../fold/state.ts';
import type { SummedInterval } from '../fold/sums.ts';
import { type History, newestWhere } from '../numbers/history.ts';
import { add, type Rational, rational } from '../numbers/rational.ts';
import { type EpochMs, epochMs, type Microlitres, microlitres } from '../numbers/units.ts';

/** A placed drain with all that is charted of it. */
export interface Tube {
  readonly drain: string;
  readonly view: DrainView;
  readonly circumstances: Circumstances;
  readonly chart: Chart;
  readonly state: FoldState;
  readonly placed: EpochMs;
  /** Infinity while the drain is in. */
  readonly removed: EpochMs;
  /** Rows that count, later than a moment. */
  rowsAfter(moment: EpochMs): readonly RowUnderConditions[];
}

/** @returns null where no placement stands: then nothing counts */
export function tubeOf(of: Pick<Tube, 'drain' | 'view' | 'circumstances' | 'chart'>): Tube | null {
  const { drain, view, circumstances, chart } = of;
  if (view.placedMs === null) return null;
  return {
    drain,
    view,
    circumstances,
    chart,
    state: stateOf(chart),
    placed: view.placedMs,
    removed: view.removedMs ?? epochMs(Infinity),
    rowsAfter: rowReader(chart),
  };
}

/** Many rules ask for the same rows one after another. */
function rowReader(chart: Chart): Tube['rowsAfter'] {
  let last: EpochMs | null = null;
  let rows: readonly RowUnderConditions[] = [];
  return (moment) => {
    if (moment !== last) rows = underConditions(rowsFrom(chart, epochMs(moment + 1)));
    last = moment;
    return rows;
  };
}

/** Tubes of one patient that are in at overlapping times, or one tube by itself; the first placed comes first. */
export type Stay = readonly [Tube, ...Tube[]];

/** The tubes of each patient by stays. A tube without patient stands alone. */
export function staysOf(tubes: readonly Tube[]): readonly Stay[] {
  const ordered = [...tubes].sort((a, b) => a.placed - b.placed || (a.drain < b.drain ? -1 : 1));
  const stays: [Tube, ...Tube[]][] = [];
  for (const tube of ordered) {
    const key = patientKey(tube.view.patient);
    const stay = stays.find(
      (others) =>
        key !== null &&
        others.some(({ view, removed }) => patientKey(view.patient) === key && removed >= tube.placed),
    );
    if (stay === undefined) stays.push([tube]);
    else stay.push(tube);
  }
  return stays;
}

/**
 * The levels later than a moment at which a sum of these tubes is taken. Of one tube: each that ends an interval. Of
 * several: each time up to which all that are in have closed, as it becomes known.
 */
export function closingLevels(tubes: readonly Tube[], after: EpochMs): readonly LevelPoint[] {
  const ends = tubes.flatMap(({ state }) => endsAfter(state.intervals, after));
  if (tubes.length === 1) return ends.reverse();
  ends.sort((a, b) => (a.id < b.id ? -1 : 1));
  const byTime = new Map(ends.map((end) => [end.at, end]));
  const closed = new Set([...byTime.keys()].map((at) => closedTogetherAt(tubes, at)));
  return [...closed].sort((a, b) => a - b).flatMap((time) => byTime.get(time) ?? []);
}

/** Levels that end an interval, the newest first. */
function endsAfter(intervals: History<SummedInterval>, after: EpochMs): LevelPoint[] {
  const ends: LevelPoint[] = [];
  for (let node = intervals; node !== null && node.item.interval.to.at > after; node = node.before)
    ends.push(node.item.interval.to);
  return ends;
}

/** Up to when all tubes that are in at a moment have closed by then. */
export function closedTogetherAt(tubes: readonly Tube[], at: EpochMs): EpochMs {
  let closed: number = at;
  for (const tube of tubes) {
    if (tube.placed <= at && at <= tube.removed) closed = Math.min(closed, closedUpTo(tube, at));
  }
  return epochMs(closed);
}

function closedUpTo({ state, placed }: Tube, at: EpochMs): EpochMs {
  return newestWhere(state.intervals, ({ interval }) => interval.to.at <= at)?.item.interval.to.at ?? placed;
}

/** What some tubes drained in a span. Volumes are µL; lower bounds where the span is not covered. */
export interface TubesSum {
  /** Drained + sampled. */
  readonly gross: Rational;
  readonly net: Rational;
  readonly instilled: Microlitres;
  /** Expanded (k = 2) reading error; the tubes are read independently, so squares add. Null while not known. */
  readonly uncertainty: number | null;
  readonly covered: boolean;
}

/** Nothing drains through a tube before it is placed or after it is removed. */
export function sumOver(tubes: readonly Tube[], from: EpochMs, to: EpochMs, maxGapMs: number): TubesSum {
  let gross = rational(0);
  let net = rational(0);
  let instilled = 0;
  let squares = 0;
  let covered = true;
  for (const tube of tubes) {
    const start = epochMs(Math.max(from, tube.placed));
    const end = epochMs(Math.min(to, tube.removed));
    if (end <= start) continue;
    const sum = spanSum(tube.state, start, end, maxGapMs);
    if (sum === null || sum.covered_ms < end - start) covered = false;
    if (sum === null) continue;
    gross = add(gross, grossOf(sum));
    net = add(net, sum.net);
    instilled += sum.instilled;
    squares += (sum.uncertainty ?? Number.NaN) ** 2;
  }
  const uncertainty = Number.isNaN(squares) ? null : Math.sqrt(squares);
  return { gross, net, instilled: microlitres(instilled), uncertainty, covered };
}

const grossOf = ({ drained, sampled }: SpanSum): Rational => add(drained, rational(sampled));

/** Ids of the entries that stand behind a sum: levels of its intervals, and what went in or out. */
export function entriesBehind(tubes: readonly Tube[], from: EpochMs, to: EpochMs): readonly string[] {
  const ids = new Set<string>();
  for (const { state } of tubes) {
    for (let node = state.intervals; node !== null && node.item.interval.to.at > from; node = node.before) {
      const { interval } = node.item;
      if (interval.from.at >= to) continue;
      ids.add(interval.from.id).add(interval.to.id);
    }
    for (let node = state.flows; node !== null && node.item.at >= from; node = node.before) {
      if (node.item.at < to) ids.add(node.item.id);
    }
  }
  return [...ids].sort();
}
