/** What drained in all, as steps: a rise stands where its level was read. Unit changes and flushes are marked. */
import { curveStepAfter, line as pathOf } from 'd3-shape';
import type { Point } from '../record/trends/point.ts';
import type { Drawn, EventSign, PlotEvent } from './drawn-data.ts';
import { framed, keyBox, keyMark, type Panel, plotLeft, type Scale, type Sheet } from './frame.ts';
import { el, line, mark, type Shape, text } from './svg.ts';

const BODY = 170;
const SIGN_PX = 34;
const SIGN_ROW_PX = 15;
const SIGN_ROWS = 4;

const SIGNS: Readonly<Record<EventSign, { readonly shape: Shape; readonly letter: string }>> = {
  unit: { shape: 'square', letter: 'U' },
  rebased: { shape: 'diamond', letter: 'R' },
  instilled: { shape: 'down', letter: '' },
  sampled: { shape: 'up', letter: '' },
  clamped: { shape: 'square', letter: 'C' },
  unclamped: { shape: 'square', letter: 'O' },
};

export function cumulativePanel(sheet: Sheet, drawn: Drawn): Panel {
  const points = drawn.charted.cumulative ?? [];
  const values = points.map(levelOf);
  const domain: [number, number] = [Math.min(0, ...values), Math.max(10, ...values) * 1.08];
  const key = [
    keyMark('level read', 'circle', 'mark full first'),
    keyMark('not a total', 'circle', 'mark first'),
    keyBox('not known', 'gap'),
    keyMark('put in (flush)', 'down', 'mark second'),
    keyMark('sampled', 'up', 'mark second'),
    { words: 'U: unit, R: scale disturbed', draw: () => '' },
    { words: 'C: clamped, O: opened', draw: () => '' },
  ];
  const options = { title: 'Net drained since placement', unit: 'mL', body: BODY, domain, key };
  return framed(sheet, options, (y) =>
    [
      ...(drawn.charted.net ?? []).filter(isUnknown).map((interval) => unknownBand(sheet, interval, y)),
      drawn.unread === null ? '' : unknownBand(sheet, drawn.unread, y),
      eventsDrawn(sheet, drawn.events, y),
      stepsDrawn(sheet, points, y),
      ...points.filter(({ to }) => to >= sheet.over.from).map((point) => pointDrawn(sheet, point, y)),
    ].join(''),
  );
}

/** A total, or the sum of what could be measured. */
const levelOf = ({ value, low }: Point): number => value ?? low ?? 0;
const isTotal = ({ value, at_least }: Point): boolean => value !== null && !at_least;

function stepsDrawn(sheet: Sheet, points: readonly Point[], y: Scale): string {
  const within = points.filter(({ to }) => to >= sheet.over.from);
  const before = points.findLast(({ to }) => to < sheet.over.from);
  const start = before === undefined ? [] : [{ ...before, to: sheet.over.from }];
  const path = pathOf<Point>()
    .x(({ to }) => sheet.x(to))
    .y((point) => y(levelOf(point)))
    .curve(curveStepAfter)
    .digits(1);
  const all = [...start, ...within];
  const total = all.findIndex((point) => !isTotal(point));
  const [sure, rest] = total < 0 ? [all, []] : [all.slice(0, total), all.slice(Math.max(0, total - 1))];
  return (
    el('path', { d: path(sure) ?? '', class: 'line first' }) +
    el('path', { d: path(rest) ?? '', class: 'line first dash' })
  );
}

const pointDrawn = (sheet: Sheet, point: Point, y: Scale): string =>
  mark('circle', sheet.x(point.to), y(levelOf(point)), isTotal(point) ? 'mark full first' : 'mark first', 3);

/** Of an interval the volume is not known, or in doubt. */
const isUnknown = ({ value, flags }: Point): boolean => value === null || flags.includes('suspect');

function unknownBand(sheet: Sheet, { from, to }: Pick<Point, 'from' | 'to'>, y: Scale): string {
  if (to < sheet.over.from) return '';
  const [top, bottom] = [Math.min(...y.range()), Math.max(...y.range())];
  const left = Math.max(sheet.x(from), plotLeft);
  return el('rect', {
    x: left,
    y: top,
    width: Math.max(2, sheet.x(to) - left),
    height: bottom - top,
    class: 'gap',
  });
}

/** Signs that would lie on each other stand below each other. */
function eventsDrawn(sheet: Sheet, events: readonly PlotEvent[], y: Scale): string {
  const [top, bottom] = [Math.min(...y.range()), Math.max(...y.range())];
  let row = 0;
  let free = Number.NEGATIVE_INFINITY;
  return events
    .map((event) => {
      const x = sheet.x(event.at);
      row = x < free ? (row + 1) % SIGN_ROWS : 0;
      free = x + SIGN_PX;
      return line(x, top, x, bottom, 'event') + signDrawn(event, x, top + row * SIGN_ROW_PX);
    })
    .join('');
}

function signDrawn({ sign, volume_ml }: PlotEvent, x: number, top: number): string {
  const { shape, letter } = SIGNS[sign];
  if (letter !== '') return text(letter, x + 3, top + 11, { class: 'small', 'font-weight': 'bold' });
  const words = volume_ml === null ? '' : text(String(volume_ml), x + 8, top + 12, { class: 'quiet small' });
  return mark(shape, x, top + 7, 'mark second', 5) + words;
}
