/**
 * The chart of one drain: its statements in order of time, each with what is derived there.
 *
 * The fold goes forward one instant at a time and keeps the state after each, so a change at some time refolds only
 * from there. One thing reaches backwards: a fall that nothing explains casts doubt on the rise before it, so the
 * fold goes back to that rise once and takes it as suspect. Each rise is doubted at most once and falls do not
 * overlap, so the whole costs O(1) amortised an entry that comes in order, plus O(log n) for the windows.
 */

import { append, type History, newestWhere } from '../numbers/history.ts';
import { type EpochMs, epochMs } from '../numbers/units.ts';
import type { Reference } from '../vocabulary/entry.ts';
import type { Item } from './chains.ts';
import type { Circumstances } from './circumstances.ts';
import { compareItems } from './order.ts';
import type { Row } from './row.ts';
import { EMPTY_STATE, type FoldState } from './state.ts';
import { step } from './step.ts';

/** What is charted at one instant. */
interface Charted {
  readonly at: EpochMs;
  readonly items: readonly Item[];
}

export interface Instant extends Charted {
  readonly rows: readonly Row[];
  readonly state: FoldState;
}

/** An interval, by its end, whose rise a later fall contradicts. */
interface Doubt {
  readonly intervalEnd: EpochMs;
  readonly fallAt: EpochMs;
}

export interface Chart {
  /** Of a chart that was cut the newest, and no look further back goes unnoticed. */
  readonly instants: History<Instant>;
  readonly doubts: History<Doubt>;
  /** Of a chart that was cut: the newest instant up to some moments that are still asked for. */
  readonly pinned: ReadonlyMap<EpochMs, Instant | null>;
  /** Spans that begin here or later can be summed. */
  readonly sumsSince: EpochMs;
}

export const EMPTY_CHART: Chart = {
  instants: null,
  doubts: null,
  pinned: new Map(),
  sumsSince: epochMs(-Infinity),
};

export interface Change {
  readonly remove: readonly Item[];
  readonly add: readonly Item[];
  /** Refold at least from here, because the circumstances changed. */
  readonly since?: EpochMs | undefined;
}

export interface Refolded {
  readonly chart: Chart;
  /** The earliest time from which anything may differ. */
  readonly since: EpochMs;
  /** Rows of the part that was folded again, as they were and as they are, in order of time. */
  readonly before: readonly Row[];
  readonly after: readonly Row[];
}

/** The chart after a change. Equal to folding all items anew, whatever the order in which they came. */
export function refold(chart: Chart, change: Change, circumstances: Circumstances): Refolded {
  const start = earliest(...[...change.remove, ...change.add].map(({ at }) => at), change.since);
  const base = rewound(chart, start);
  const changedFrom = base.instants === null ? epochMs(-Infinity) : epochMs(base.instants.item.at + 1);
  const gone = new Set(change.remove.map(({ id }) => id));
  const kept = itemsFrom(chart, changedFrom).filter(({ id }) => !gone.has(id));
  const items = change.add.length === 0 ? kept : [...kept, ...change.add].sort(compareItems);
  const folded = fold(base, items, circumstances);
  const from = epochMs(Math.min(changedFrom, folded.from));
  return {
    chart: folded.chart,
    since: from,
    before: rowsFrom(chart, from),
    after: rowsFrom(folded.chart, from),
  };
}

/** The chart of these statements, in whatever order they come. */
export function foldAll(items: readonly Item[], circumstances: Circumstances): Chart {
  return fold(EMPTY_CHART, [...items].sort(compareItems), circumstances).chart;
}

/** Rows in order of time, from a moment on. */
export function rowsFrom(chart: Chart, from: EpochMs): Row[] {
  return instantsFrom(chart.instants, from).flatMap((instant) => instant.rows);
}

/** Rows of one instant. */
export function rowsAt(chart: Chart, at: EpochMs): readonly Row[] {
  const instant = instantUpTo(chart, at);
  return instant !== null && instant.at === at ? instant.rows : [];
}

/** The encounter of the newest statement up to a moment. */
export function encounterAt(chart: Chart | undefined, at: EpochMs): Reference | null {
  return (chart === undefined ? null : instantUpTo(chart, at))?.rows.at(-1)?.encounter ?? null;
}

/** The newest instant up to a moment. */
export function instantUpTo({ instants, pinned }: Chart, at: EpochMs): Instant | null {
  const known = pinned.get(at);
  return known === undefined ? (newestWhere(instants, (instant) => instant.at <= at)?.item ?? null) : known;
}

/** The time of the newest statement; null while there is none. */
export function newestAt(chart: Chart): EpochMs | null {
  return chart.instants === null ? null : chart.instants.item.at;
}

/** The state after everything charted. */
export function stateOf({ instants }: Pick<Chart, 'instants'>): FoldState {
  return instants === null ? EMPTY_STATE : instants.item.state;
}

/** The chart cut back before `start`, and before any rise whose contradiction lies at or after the cut. */
function rewound(chart: Chart, start: EpochMs): Chart {
  const doubts = newestWhere(chart.doubts, (doubt) => doubt.fallAt < start);
  let cut: number = start;
  for (let gone = chart.doubts; gone !== null && gone !== doubts; gone = gone.before) {
    cut = Math.min(cut, gone.item.intervalEnd);
  }
  const instants = newestWhere(chart.instants, (instant) => instant.at < cut);
  return { ...chart, instants, doubts };
}

/** Folds sorted items on top of a chart. `from`: the earliest time whose rows may differ from before. */
function fold(
  base: Chart,
  items: readonly Item[],
  circumstances: Circumstances,
): { chart: Chart; from: EpochMs } {
  let { instants, doubts } = base;
  let from = epochMs(Infinity);
  let queue = groupedByTime(items);
  let next = 0;
  for (let charted = queue[0]; charted !== undefined; charted = queue[next]) {
    const { at, items: group } = charted;
    const isSuspect = (end: EpochMs) => isDoubted(doubts, end);
    const { state, rows, contradicts } = step(stateOf({ instants }), group, circumstances, isSuspect);
    if (contradicts === null || isSuspect(contradicts)) {
      instants = append(instants, { at, items: group, state, rows });
      next += 1;
    } else {
      doubts = append(doubts, { intervalEnd: contradicts, fallAt: at });
      const again = instantsFrom(instants, contradicts);
      instants = newestWhere(instants, (instant) => instant.at < contradicts);
      queue = [...again, ...queue.slice(next)];
      next = 0;
      from = epochMs(Math.min(from, contradicts));
    }
  }
  return { chart: { ...base, instants, doubts }, from };
}

function isDoubted(doubts: History<Doubt>, end: EpochMs): boolean {
  return newestWhere(doubts, (doubt) => doubt.intervalEnd <= end)?.item.intervalEnd === end;
}

function groupedByTime(items: readonly Item[]): readonly Charted[] {
  const groups: { at: EpochMs; items: Item[] }[] = [];
  for (const item of items) {
    const group = groups.at(-1);
    if (group?.at === item.at) group.items.push(item);
    else groups.push({ at: item.at, items: [item] });
  }
  return groups;
}

function itemsFrom(chart: Chart, from: EpochMs): Item[] {
  return instantsFrom(chart.instants, from).flatMap((instant) => instant.items);
}

function instantsFrom(instants: History<Instant>, from: EpochMs): Instant[] {
  const found: Instant[] = [];
  for (let node = instants; node !== null && node.item.at >= from; node = node.before) found.push(node.item);
  return found.reverse();
}

function earliest(...times: readonly (EpochMs | undefined)[]): EpochMs {
  return epochMs(Math.min(...times.map((time) => time ?? Infinity)));
}
