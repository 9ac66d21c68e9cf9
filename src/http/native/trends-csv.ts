/** Trends as CSV (RFC 4180): a line a bucket, or a moment, with the unit in each heading. */
import { type Cell, lineText } from '../../record/csv/cell-text.ts';
import type { TrendsView } from '../../record/trends/trends-view.ts';

type Series = TrendsView['series'][number];
type Point = Series['points'][number];

/** Units as a heading shows them. */
const UNIT_TEXT: Readonly<Record<Series['unit'], string>> = {
  mL: 'mL',
  'mL/h': 'mL/h',
  'mL/kg/h': 'mL/kg/h',
  'cm[H2O]': 'cmH2O',
  '{grade}': 'grade',
  'mL/min': 'mL/min',
};

export function trendsCsv({ calendar, series }: TrendsView): string {
  const zone = calendar.zone;
  const head = [
    'from (UTC)',
    'to (UTC)',
    `from (local, ${zone})`,
    `to (local, ${zone})`,
    ...series.flatMap(headings),
  ];
  const lines = linesOf(series).map((points) => [...times(points), ...points.flatMap(cells)]);
  return [head, ...lines].map(lineText).join('');
}

function headings({ name, unit }: Series): readonly string[] {
  const text = UNIT_TEXT[unit];
  const shared = [`${name} (${text})`, `${name} low (${text})`, `${name} high (${text})`];
  return [
    ...shared,
    `${name} uncertainty k=2 (${text})`,
    `${name} coverage (0 to 1)`,
    `${name} at least`,
    `${name} reasons`,
    `${name} flags`,
    ...(name === 'leak_grade' ? [`${name} scale maximum`] : []),
  ].map((heading) => heading.replaceAll('_', ' '));
}

interface Placed {
  readonly name: Series['name'];
  readonly point: Point | undefined;
}

/** Points of the same time stand on one line; several of one series at one moment stand on lines below each other. */
function linesOf(series: readonly Series[]): readonly (readonly Placed[])[] {
  const lines = new Map<string, Map<string, Point>>();
  for (const { name, points } of series) {
    const seen = new Map<string, number>();
    for (const point of points) {
      const nth = seen.get(point.to ?? '') ?? 0;
      seen.set(point.to ?? '', nth + 1);
      const key = `${point.to} ${String(nth).padStart(4, '0')}`;
      const line = lines.get(key) ?? new Map<string, Point>();
      lines.set(key, line.set(name, point));
    }
  }
  return [...lines]
    .sort(([a], [b]) => (a < b ? -1 : 1))
    .map(([, line]) => series.map(({ name }) => ({ name, point: line.get(name) })));
}

function times(points: readonly Placed[]): readonly Cell[] {
  const [first] = points.flatMap(({ point }) => point ?? []).sort((a, b) => order(a.from, b.from));
  return first === undefined ? [] : [first.from, first.to, first.local_from, first.local_to];
}

const order = (a: string | null, b: string | null): number => ((a ?? '') < (b ?? '') ? -1 : 1);

function cells({ name, point }: Placed): readonly Cell[] {
  const scale = name === 'leak_grade' ? [point?.scale_max ?? null] : [];
  if (point === undefined) return [...Array<null>(8).fill(null), ...scale];
  const { value, low, high, uncertainty, coverage, at_least, reasons, flags } = point;
  return [value, low, high, uncertainty, coverage, at_least, reasons.join(' '), flags.join(' '), ...scale];
}
