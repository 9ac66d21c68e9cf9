/** Drains as rules see them, and what several of them drained together between two moments. */
import type { Book } from './book.ts';
import { rowsFrom, stateOf } from './chart.ts';
import type { Circumstances } from './circumstances.ts';
import { type RowUnderConditions, underConditions } from './conditions.ts';
import { type DrainView, patientKey } from './drain.ts';
import { newestWhere } from './history.ts';
import type { LevelPoint } from './interval.ts';
import { add, type Rational, rational } from './rational.ts';
import { type SpanSum, spanSum } from './span.ts';
import type { FoldState } from './state.ts';
import { type EpochMs, epochMs, type Microlitres, microlitres } from './units.ts';

/** A placed drain with all that is charted of it. */
export interface Tube {
  readonly drain: string;
  readonly view: DrainView;
  readonly circumstances: Circumstances;
  readonly state: FoldState;
  readonly rows: readonly RowUnderConditions[];
  readonly placed: EpochMs;
  /** Infinity while the drain is in. */
  readonly removed: EpochMs;
  /** Levels that end an interval, in order of time. */
  readonly ends: readonly LevelPoint[];
}

/** @returns null where no placement stands: then nothing counts */
export function tubeOf({ drain, view, circumstances, chart }: Book): Tube | null {
  if (view.placedMs === null) return null;
  const state = stateOf(chart);
  const ends: LevelPoint[] = [];
  for (let node = state.intervals; node !== null; node = node.before) ends.push(node.item.interval.to);
  return {
    drain,
    view,
    circumstances,
    state,
    rows: underConditions(rowsFrom(chart, epochMs(-Infinity))),
    placed: view.placedMs,
    removed: view.removedMs ?? epochMs(Infinity),
    ends: ends.reverse(),
  };
}

/** The tubes of each patient that are in at overlapping times: one stay each. A tube without patient stands alone. */
export function staysOf(tubes: readonly Tube[]): readonly (readonly Tube[])[] {
  const ordered = [...tubes].sort((a, b) => a.placed - b.placed || (a.drain < b.drain ? -1 : 1));
  const stays: Tube[][] = [];
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
 * The levels at which a sum of these tubes is taken. Of one tube: each that ends an interval. Of several: each time
 * up to which all that are in have closed, as it becomes known.
 */
export function closingLevels(tubes: readonly Tube[]): readonly LevelPoint[] {
  const all = tubes.flatMap(({ ends }) => ends).sort((a, b) => a.at - b.at || (a.id < b.id ? -1 : 1));
  const byTime = new Map(all.map((end) => [end.at, end]));
  if (tubes.length === 1) return [...byTime.values()];
  const closed = new Set<EpochMs>();
  for (const { at } of byTime.values()) {
    const open = tubes.filter(({ placed, removed }) => placed <= at && at <= removed);
    closed.add(epochMs(Math.min(at, ...open.map((tube) => closedUpTo(tube, at)))));
  }
  return [...closed].sort((a, b) => a - b).flatMap((time) => byTime.get(time) ?? []);
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
  for (const { state, rows } of tubes) {
    for (let node = state.intervals; node !== null && node.item.interval.to.at > from; node = node.before) {
      const { interval } = node.item;
      if (interval.from.at >= to) continue;
      ids.add(interval.from.id).add(interval.to.id);
    }
    for (const { row } of rows) {
      const { kind } = row.item.content;
      if ((kind === 'instilled' || kind === 'sampled') && row.item.at >= from && row.item.at < to)
        ids.add(row.item.id);
    }
  }
  return [...ids].sort();
}
