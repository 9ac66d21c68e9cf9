/** What a drain's plots are drawn from: trends as charted and by calendar, events, advisories. */
import type { AdvisedEpisode } from '../domain/book/advise.ts';
import type { Book } from '../domain/book/book.ts';
import { rowsFrom } from '../domain/fold/chart.ts';
import type { Span } from '../domain/fold/interval.ts';
import type { Row } from '../domain/fold/row.ts';
import { parseInstant } from '../domain/numbers/instant.ts';
import { epochMs, HOUR_MS } from '../domain/numbers/units.ts';
import type { Calendar } from '../domain/vocabulary/configuration.ts';
import type { Bucket, Point } from '../record/trends/point.ts';
import { type SeriesPoints, sourceOf, trendsOf } from '../record/trends/trends.ts';

export type EventSign = 'unit' | 'rebased' | 'instilled' | 'sampled' | 'clamped' | 'unclamped';

export interface PlotEvent {
  readonly at: number;
  readonly sign: EventSign;
  /** mL; null where the event has no volume. */
  readonly volume_ml: number | null;
}

export interface Drawn {
  readonly over: Span;
  readonly charted: SeriesPoints;
  readonly bars: readonly Point[];
  readonly bucket: Exclude<Bucket, 'raw' | '15min'>;
  readonly events: readonly PlotEvent[];
  readonly advisories: readonly PlotAdvisory[];
  /** Readings further apart are not joined by a line, ms. */
  readonly joinedUpTo: number;
  /** Since the last level, where the next was due before the end; null: none was. */
  readonly unread: Span | null;
}

export interface PlotAdvisory {
  readonly title: string;
  readonly from: number;
  /** Null while it stands. */
  readonly to: number | null;
  readonly isReviewed: boolean;
}

export interface DrawnFrom {
  readonly book: Book;
  readonly calendar: Calendar;
  readonly over: Span;
  readonly episodes: readonly AdvisedEpisode[];
  readonly joinedUpTo: number;
}

const CHARTED = [
  'net',
  'rate',
  'cumulative',
  'suction',
  'seal',
  'total_negativity',
  'leak_grade',
  'leak_flow',
] as const;
const MOST_HOUR_BARS_H = 72;
const MOST_SHIFT_BARS_H = 14 * 24;

/** @returns null where the time holds more than can be drawn */
export function drawnData({ book, calendar, over, episodes, joinedUpTo }: DrawnFrom): Drawn | null {
  const bucket = bucketFor(over);
  // Wider by one interval at the start, so that a line comes in from where it was.
  const wide = { from: epochMs(over.from - joinedUpTo), to: over.to, last_h: 0 };
  const source = sourceOf(book);
  const charted = trendsOf(source, calendar, { series: CHARTED, bucket: 'raw', ...wide });
  const bars = trendsOf(source, calendar, { series: ['net'], bucket, ...over, last_h: 0 });
  if ('tooMany' in charted || 'tooMany' in bars) return null;
  return {
    over,
    charted: charted.series,
    bars: bars.series.net ?? [],
    bucket,
    events: rowsFrom(book.chart, over.from).flatMap((row) => (row.item.at > over.to ? [] : eventsIn(row))),
    advisories: episodes.flatMap((episode) => advisoryIn(episode, over)),
    joinedUpTo,
    unread: unreadIn({ view: book.view, over, joinedUpTo }, charted.series.cumulative ?? []),
  };
}

function unreadIn(
  { view, over, joinedUpTo }: Pick<Book, 'view'> & Pick<DrawnFrom, 'over' | 'joinedUpTo'>,
  levels: readonly Point[],
): Span | null {
  const from = epochMs(levels.at(-1)?.to ?? Math.max(view.placedMs ?? over.to, over.from));
  const to = epochMs(Math.min(view.removedMs ?? over.to, over.to));
  return to - from > joinedUpTo ? { from, to } : null;
}

function bucketFor({ from, to }: Span): Drawn['bucket'] {
  const hours = (to - from) / HOUR_MS;
  if (hours <= MOST_HOUR_BARS_H) return 'hour';
  return hours <= MOST_SHIFT_BARS_H ? 'shift' : 'day';
}

function eventsIn({ item, counted }: Row): readonly PlotEvent[] {
  const { at, content } = item;
  if (!counted) return [];
  const event = (sign: EventSign, volume_ml: number | null = null) => [{ at, sign, volume_ml }];
  switch (content.kind) {
    case 'set-up':
    case 'unit-changed':
      return event('unit');
    case 'level-rebased':
      return event('rebased');
    case 'instilled':
    case 'sampled':
      return event(content.kind, content.volume_ml.toJSON());
    case 'clamped':
    case 'unclamped':
      return event(content.kind);
    default:
      return [];
  }
}

function advisoryIn(
  { rule, raised, ended_at, reviews }: AdvisedEpisode,
  over: Span,
): readonly PlotAdvisory[] {
  const to = ended_at === null ? null : (parseInstant(ended_at)?.ms ?? null);
  if (raised.at > over.to || (to !== null && to < over.from)) return [];
  return [{ title: rule.title, from: raised.at, to, isReviewed: reviews.length > 0 }];
}
