/** The end of a drain's running sums as text, and back: the same sums come of it, to the digit. */
import { newestLevelAt, type SummedState } from '../calendar/calendar-windows.ts';
import type { Circumstances } from '../fold/circumstances.ts';
import { type Interval, isMeasured, type LevelPoint } from '../fold/interval.ts';
import {
  appendFlow,
  appendInterval,
  type IntervalSums,
  type SummedFlow,
  type SummedInterval,
} from '../fold/sums.ts';
import type { Link } from '../fold/uncertainty.ts';
import { append, type History, isAtHand } from '../numbers/history.ts';
import { type EpochMs, epochMs, microlitres } from '../numbers/units.ts';
import type { Settings } from '../vocabulary/settings.ts';
import type { DrainSums, Reach } from './drain-sums.ts';

/** A level is written once, and named by its place from then on. */
type LevelText = readonly [
  LevelPoint['id'],
  LevelPoint['part'],
  LevelPoint['at'],
  LevelPoint['at_text'],
  LevelPoint['level'],
  LevelPoint['graduation'],
];
type Place = number | null;
/** Most are measured, rise from where they begin, and have nothing else in them: of those the first three say all. */
type IntervalText =
  | readonly [from: Place, to: Place, Interval['drained']]
  | readonly [
      from: Place,
      to: Place,
      Interval['drained'],
      risesFrom: Place,
      Interval['status'],
      Interval['reason'],
      Interval['suspect'],
      Interval['sampled'],
      Interval['instilled'],
      Interval['clamped'],
    ];
/** Null in the text stands for a variance that is not known. */
interface LinkText extends Omit<Link, 'startVariance' | 'endBefore'> {
  readonly startVariance: number | null;
  readonly endBefore: Place;
}

interface SumsText extends Pick<DrainSums, 'newest'> {
  /** Null: all of them are here. */
  readonly since: EpochMs | null;
  readonly view: DrainSums['view'];
  readonly population: Circumstances['population'] | null;
  readonly weights: Circumstances['weights'];
  readonly measuredFrom: SummedState['measuredFrom'];
  readonly newestLevel: EpochMs | null;
  readonly levels: readonly LevelText[];
  readonly intervals: readonly IntervalText[];
  /** Sums up to and with the first of the intervals. */
  readonly sums:
    | (Omit<IntervalSums, 'variance'> & { readonly link: LinkText | null; readonly end: Place })
    | null;
  readonly flows: readonly SummedFlow[];
}

export function writeSums(sums: DrainSums, reach: Reach): string {
  const { state, newest, circumstances, view } = sums;
  const nodes = keptIntervals(state.intervals, epochMs((newest ?? 0) - reach.ms), reach.most);
  const [first] = nodes;
  const since =
    first === undefined || first.before === null ? null : epochMs(first.item.interval.from.at + 1);
  const levels = levelBook();
  const text: SumsText = {
    newest,
    since,
    view: viewText(view),
    population: circumstances.population ?? null,
    weights: circumstances.weights,
    measuredFrom: state.measuredFrom,
    newestLevel: newestLevelAt(state),
    intervals: nodes.map(({ item }) => intervalText(item.interval, levels.placeOf)),
    sums: first === undefined ? null : sumsText(first.item.sums, levels.placeOf),
    flows: keptFlows(state.flows, since ?? epochMs(-Infinity)),
    levels: levels.texts,
  };
  return JSON.stringify(text);
}

const viewText = ({ placedMs, removedMs, site, patient }: DrainSums['view']): DrainSums['view'] => ({
  placedMs,
  removedMs,
  site,
  ...(patient === undefined ? {} : { patient }),
});

/** In order, from the last that begins before a moment. */
function keptIntervals(history: History<SummedInterval>, from: EpochMs, most: number) {
  const nodes: NonNullable<typeof history>[] = [];
  for (let node = history; isAtHand(node) && nodes.length < most; node = node.before) {
    nodes.push(node);
    if (node.item.interval.from.at < from) break;
  }
  return nodes.reverse();
}

/** In order, from the last before a moment. */
function keptFlows(history: History<SummedFlow>, since: EpochMs): readonly SummedFlow[] {
  const flows: SummedFlow[] = [];
  for (let node = history; node !== null; node = node.before) {
    flows.push(node.item);
    if (node.item.at < since) break;
  }
  return flows.reverse();
}

function levelBook() {
  const texts: LevelText[] = [];
  // By itself, as the sums ask whether two of them are one.
  const places = new Map<LevelPoint, number>();
  return {
    texts,
    placeOf(level: LevelPoint | null): Place {
      if (level === null) return null;
      const known = places.get(level);
      if (known !== undefined) return known;
      places.set(level, texts.length);
      return texts.push([level.id, level.part, level.at, level.at_text, level.level, level.graduation]) - 1;
    },
  };
}

type PlaceOf = ReturnType<typeof levelBook>['placeOf'];

function intervalText(interval: Interval, placeOf: PlaceOf): IntervalText {
  const { drained, risesFrom, status, reason, suspect, sampled, instilled, clamped } = interval;
  const [from, to] = [placeOf(interval.from), placeOf(interval.to)];
  const isPlain =
    isMeasured(interval) && risesFrom === interval.from && sampled + instilled + clamped.length === 0;
  if (isPlain) return [from, to, drained];
  return [from, to, drained, placeOf(risesFrom), status, reason, suspect, sampled, instilled, clamped];
}

function sumsText({ variance, ...sums }: IntervalSums, placeOf: PlaceOf): SumsText['sums'] {
  const link = variance.links?.item ?? null;
  return {
    ...sums,
    // JSON writes NaN, a variance that is not known, as null.
    link: link === null ? null : { ...link, endBefore: placeOf(link.endBefore) },
    end: placeOf(variance.end),
  };
}

/** Reads what {@link writeSums} wrote; whoever kept the text vouches for its shape. */
export function readSums(drain: string, text: string, settings: Settings): DrainSums {
  const kept = JSON.parse(text) as SumsText;
  const points = kept.levels.map(
    ([id, part, at, at_text, level, graduation]): LevelPoint => ({
      id,
      part,
      at,
      at_text,
      level,
      graduation,
    }),
  );
  const pointAt = (place: Place): LevelPoint | null => (place === null ? null : (points[place] ?? null));
  const { newest, view, newestLevel, population, weights } = kept;
  return {
    drain,
    newest,
    view,
    circumstances: {
      placedAt: view.placedMs,
      removedAt: view.removedMs,
      population: population ?? undefined,
      weights,
      settings,
    },
    state: {
      chamber: { run: newestLevel === null ? null : { last: { at: newestLevel } }, unclosed: null },
      measuredFrom: kept.measuredFrom,
      intervals: intervalsIn(kept, pointAt),
      flows: flowsIn(kept.flows),
    },
    since: kept.since ?? epochMs(-Infinity),
  };
}

const NOTHING = microlitres(0);

type PointAt = (place: Place) => LevelPoint | null;

/** The first with its sums as they were; those after it are summed on. */
function intervalsIn({ intervals, sums }: SumsText, pointAt: PointAt): History<SummedInterval> {
  let history: History<SummedInterval> = null;
  for (const text of intervals) {
    const interval = intervalIn(text, pointAt);
    history =
      history === null && sums !== null
        ? append(null, { interval, sums: sumsIn(sums, pointAt) })
        : appendInterval(history, interval);
  }
  return history;
}

/** Field by field: spreading costs more than the rest of reading. */
function intervalIn(text: IntervalText, pointAt: PointAt): Interval {
  const [from, to] = [pointAt(text[0]), pointAt(text[1])];
  if (from === null || to === null) throw new Error('an interval without its levels');
  const isPlain = text.length === 3;
  return {
    from,
    to,
    status: isPlain ? 'measured' : text[4],
    reason: isPlain ? null : text[5],
    suspect: isPlain ? false : text[6],
    risesFrom: isPlain ? from : pointAt(text[3]),
    drained: text[2],
    sampled: isPlain ? NOTHING : text[7],
    instilled: isPlain ? NOTHING : text[8],
    clamped: isPlain ? [] : text[9],
  };
}

function sumsIn({ link, end, ...sums }: NonNullable<SumsText['sums']>, pointAt: PointAt): IntervalSums {
  const links =
    link === null
      ? null
      : append<Link>(null, {
          number: link.number,
          startVariance: link.startVariance ?? Number.NaN,
          varianceBefore: link.varianceBefore,
          unknownBefore: link.unknownBefore,
          endBefore: pointAt(link.endBefore),
        });
  return { ...sums, variance: { links, end: pointAt(end) } };
}

function flowsIn(flows: readonly SummedFlow[]): History<SummedFlow> {
  let history: History<SummedFlow> = null;
  for (const flow of flows) history = history === null ? append(null, flow) : appendFlow(history, flow);
  return history;
}
