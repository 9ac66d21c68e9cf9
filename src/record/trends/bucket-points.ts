/** What is read at moments, gathered into buckets: the newest of each, a leak at its worst, with the range it moved in. */
import type { Span } from '../../domain/fold/interval.ts';
import { NO_POINT, type Point, type SeriesName } from './point.ts';

/** A leak counts at its worst; of anything else the newest stands. */
const AT_WORST: readonly SeriesName[] = ['leak_grade', 'leak_flow'];

/**
 * Buckets as (from, to], as everything charted at a moment ends what came before it.
 * @param points in order of time @param spans in order, each from the end of the one before
 */
export function gathered(
  points: readonly Point[],
  spans: readonly Span[],
  series: SeriesName,
): readonly Point[] {
  let next = 0;
  return spans.map((span) => {
    while (next < points.length && (points[next]?.to ?? 0) <= span.from) next += 1;
    const within: Point[] = [];
    for (; next < points.length && (points[next]?.to ?? 0) <= span.to; next += 1) {
      const point = points[next];
      if (point !== undefined) within.push(point);
    }
    return { ...chosen(within, series), from: span.from, to: span.to };
  });
}

function chosen(within: readonly Point[], series: SeriesName): Point | Omit<Point, 'from' | 'to'> {
  const newest = within.at(-1);
  if (newest === undefined) return { ...NO_POINT, reasons: ['no-reading'], readings: 0 };
  // Sums are known anew at each level, so the newest says all; what is read at a moment may have moved in between.
  if (newest.readings === null) return newest;
  const values = within.flatMap(({ value, low, high }) => [value, low, high].flatMap((each) => each ?? []));
  const shown = AT_WORST.includes(series) ? worst(within) : newest;
  return {
    ...shown,
    low: values.length === 0 ? null : Math.min(...values),
    high: values.length === 0 ? null : Math.max(...values),
    readings: within.length,
  };
}

/** Grades of different scales do not compare: the worst is that of the newest scale. */
function worst(within: readonly Point[]): Point {
  const newest = within.at(-1) as Point;
  return within.reduce(
    (so, point) =>
      point.scale_max === newest.scale_max && (point.value ?? 0) > (so.value ?? 0) ? point : so,
    newest,
  );
}
