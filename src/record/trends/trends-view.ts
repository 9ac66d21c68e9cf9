/** The wire form of trends: moments in UTC and as the wall clock of the facility shows them. */
import type { Book, Subject } from '../../domain/book.ts';
import type { Calendar } from '../../domain/configuration.ts';
import type { EpochMs } from '../../domain/units.ts';
import { headView, localTexts, rangeView, textOf } from '../calendar-view.ts';
import { type Point, SERIES, type SeriesName } from './point.ts';
import {
  type AskedTrends,
  patientTrendsOf,
  type SeriesPoints,
  type TooManyPoints,
  trendsOf,
} from './trends.ts';

export type TrendsView = NonNullable<ReturnType<typeof view>>;

export function trendsViewOf(book: Book, calendar: Calendar, asked: AskedTrends): TrendsView | TooManyPoints {
  const found = trendsOf(book, calendar, asked);
  if ('tooMany' in found) return found;
  return view(book, calendar, asked, found, seriesView(calendar, found.series));
}

export function patientTrendsViewOf(
  subject: Subject,
  book: Book,
  calendar: Calendar,
  asked: AskedTrends,
): object | TooManyPoints {
  const found = patientTrendsOf(subject, book, calendar, asked);
  if ('tooMany' in found) return found;
  return {
    ...view(book, calendar, asked, found, seriesView(calendar, found.together)),
    patient: book.view.patient ?? null,
    drains: found.drains.map((each) => ({
      drain: each.book.drain,
      site: each.book.view.site,
      series: seriesView(calendar, each.series),
    })),
  };
}

function view(
  { drain, circumstances }: Book,
  calendar: Calendar,
  { bucket }: AskedTrends,
  { as_of, over }: Pick<Exclude<ReturnType<typeof trendsOf>, TooManyPoints>, 'as_of' | 'over'>,
  series: ReturnType<typeof seriesView>,
) {
  const { derivation, calendar: zone } = headView(calendar, 'hour', circumstances.settings);
  return { drain, derivation, calendar: zone, bucket, as_of: textOf(as_of), ...rangeView(over), series };
}

function seriesView(calendar: Calendar, series: SeriesPoints) {
  const local = localTexts(calendar);
  const entries = Object.entries(series) as [SeriesName, readonly Point[]][];
  return entries.map(([name, points]) => ({
    name,
    unit: SERIES[name],
    points: points.map((point) => pointView(point, local)),
  }));
}

function pointView({ from, to, ...said }: Point, local: (at: EpochMs) => string) {
  return { from: textOf(from), to: textOf(to), local_from: local(from), local_to: local(to), ...said };
}
