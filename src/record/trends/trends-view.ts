/** The wire form of trends: moments in UTC and as the wall clock of the facility shows them. */

import type { DrainSums } from '../../domain/book/drain-sums.ts';
import type { EpochMs } from '../../domain/numbers/units.ts';
import type { Calendar } from '../../domain/vocabulary/configuration.ts';
import { localText } from '../calendar.ts';
import { headView, rangeView, textOf } from '../calendar-view.ts';
import { type Point, SERIES, type SeriesName } from './point.ts';
import {
  type AskedTrends,
  patientTrendsOf,
  type SeriesPoints,
  type TooManyPoints,
  type TrendSource,
  trendsOf,
} from './trends.ts';

export type TrendsView = NonNullable<ReturnType<typeof view>>;

export function trendsViewOf(
  source: TrendSource,
  calendar: Calendar,
  asked: AskedTrends,
): TrendsView | TooManyPoints {
  const found = trendsOf(source, calendar, asked);
  if ('tooMany' in found) return found;
  return view(source.sums, calendar, asked, found, seriesView(calendar, found.series));
}

export function patientTrendsViewOf(
  all: readonly TrendSource[],
  own: DrainSums,
  calendar: Calendar,
  asked: AskedTrends,
): object | TooManyPoints {
  const found = patientTrendsOf(all, own, calendar, asked);
  if ('tooMany' in found) return found;
  return {
    ...view(own, calendar, asked, found, seriesView(calendar, found.together)),
    patient: own.view.patient ?? null,
    drains: found.drains.map((each) => ({
      drain: each.sums.drain,
      site: each.sums.view.site,
      series: seriesView(calendar, each.series),
    })),
  };
}

function view(
  { drain, circumstances }: Pick<DrainSums, 'drain' | 'circumstances'>,
  calendar: Calendar,
  { bucket }: AskedTrends,
  { as_of, over }: Pick<Exclude<ReturnType<typeof trendsOf>, TooManyPoints>, 'as_of' | 'over'>,
  series: ReturnType<typeof seriesView>,
) {
  const { derivation, calendar: zone } = headView(calendar, 'hour', circumstances.settings);
  return { drain, derivation, calendar: zone, bucket, as_of: textOf(as_of), ...rangeView(over), series };
}

/** A moment in UTC, and as the wall clock shows it. */
interface MomentTexts {
  readonly utc: string | null;
  readonly local: string;
}

function seriesView(calendar: Calendar, series: SeriesPoints) {
  const texts = momentTexts(calendar);
  const entries = Object.entries(series) as [SeriesName, readonly Point[]][];
  return entries.map(([name, points]) => ({
    name,
    unit: SERIES[name],
    points: points.map((point) => pointView(point, texts)),
  }));
}

const MOST_MOMENTS = 10_000;
const written = new WeakMap<Calendar, Map<EpochMs, MomentTexts>>();

/** Each written once: a bucket begins where the one before it ends, and series and drains share their clock hours. */
function momentTexts(calendar: Calendar): (at: EpochMs) => MomentTexts {
  const known = written.get(calendar) ?? new Map<EpochMs, MomentTexts>();
  if (known.size > MOST_MOMENTS) known.clear();
  written.set(calendar, known);
  return (at) => {
    const before = known.get(at);
    if (before !== undefined) return before;
    const texts = { utc: textOf(at), local: localText(calendar, at) };
    known.set(at, texts);
    return texts;
  };
}

function pointView(point: Point, texts: (at: EpochMs) => MomentTexts) {
  const [from, to] = [texts(point.from), texts(point.to)];
  const { value, reasons, low, high, uncertainty, coverage, at_least, flags } = point;
  return {
    from: from.utc,
    to: to.utc,
    local_from: from.local,
    local_to: to.local,
    value,
    reasons,
    low,
    high,
    uncertainty,
    coverage,
    at_least,
    flags,
    readings: point.readings,
    scale_max: point.scale_max,
  };
}
