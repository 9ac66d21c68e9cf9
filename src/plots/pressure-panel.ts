/** Suction and seal as charted, and what they come to. What is not proven is a range, never a point. */
import { line as pathOf } from 'd3-shape';
import type { Point, SeriesName } from '../record/trends/point.ts';
import type { Drawn } from './drawn-data.ts';
import { framed, keyMark, type Panel, type Scale, type Sheet } from './frame.ts';
import { el, mark, type Shape, whisker } from './svg.ts';

const BODY = 140;

interface Look {
  readonly series: SeriesName;
  readonly words: string;
  readonly shape: Shape;
  readonly line: string;
  readonly mark: string;
}

const LOOKS: readonly Look[] = [
  { series: 'suction', words: 'suction', shape: 'square', line: 'line second dash', mark: 'mark second' },
  { series: 'seal', words: 'seal level', shape: 'up', line: 'line third dots', mark: 'mark third' },
  {
    series: 'total_negativity',
    words: 'total negativity',
    shape: 'circle',
    line: 'line first',
    mark: 'mark full first',
  },
];

export function pressurePanel(sheet: Sheet, drawn: Drawn): Panel {
  const all = LOOKS.flatMap(({ series }) => drawn.charted[series] ?? []);
  const values = all.flatMap(({ value, low, high }) => [value, low, high].flatMap((each) => each ?? []));
  const domain: [number, number] = [Math.min(0, ...values), Math.max(10, ...values) * 1.1];
  const key = [
    ...LOOKS.map(({ words, shape, mark: style }) => keyMark(words, shape, style)),
    { words: 'range: not proven', draw: (x: number, y: number) => whisker(x, y - 6, y + 6, 'line first') },
  ];
  const options = { title: 'Below atmosphere', unit: 'cmH2O', body: BODY, domain, key };
  return framed(sheet, options, (y) =>
    LOOKS.map((look) => seriesDrawn(sheet, look, drawn.charted[look.series] ?? [], y, drawn.joinedUpTo)).join(
      '',
    ),
  );
}

function seriesDrawn(
  sheet: Sheet,
  look: Look,
  points: readonly Point[],
  y: Scale,
  joinedUpTo: number,
): string {
  const within = points.filter(({ to }) => to >= sheet.over.from);
  const path = pathOf<Point>()
    .x(({ to }) => sheet.x(to))
    .y(({ value }) => y(value ?? 0))
    .digits(1);
  const lines = joined(within, joinedUpTo).map((run) =>
    el('path', { d: path([...run]) ?? '', class: look.line }),
  );
  return [...lines, ...within.map((point) => readingDrawn(sheet, look, point, y))].join('');
}

function readingDrawn(sheet: Sheet, look: Look, { to, value, low, high }: Point, y: Scale): string {
  if (value !== null) return mark(look.shape, sheet.x(to), y(value), look.mark);
  if (low === null || high === null) return '';
  const style = look.line.replace('dots', '').replace('dash', '');
  return whisker(sheet.x(to), y(low), y(high), style);
}

/** Runs of readings with values that follow each other closely enough. */
function joined(points: readonly Point[], joinedUpTo: number): readonly (readonly Point[])[] {
  const runs: Point[][] = [];
  let before: Point | null = null;
  for (const point of points) {
    if (point.value === null) before = null;
    else if (before !== null && point.to - before.to <= joinedUpTo) runs.at(-1)?.push(point);
    else runs.push([point]);
    if (point.value !== null) before = point;
  }
  return runs;
}
