/** Net drainage by clock hour, shift or day: bars with reading error. A gap is a gap, never a bar of nothing. */
import { HOUR_MS } from '../domain/numbers/units.ts';
import type { Point } from '../record/trends/point.ts';
import type { Drawn } from './drawn-data.ts';
import {
  framed,
  type KeyEntry,
  keyBox,
  type Panel,
  plotLeft,
  plotRight,
  type Scale,
  type Sheet,
} from './frame.ts';
import { el, text, whisker } from './svg.ts';

const BODY = 150;
const NAMES = { hour: 'clock hour', shift: 'shift', day: 'fluid-balance day' } as const;

export function barsPanel(sheet: Sheet, { bars, bucket, charted }: Drawn): Panel {
  const means = bucket === 'hour' ? (charted.rate ?? []).filter(isLong) : [];
  const reach = [...bars, ...means].flatMap(({ value, uncertainty }) =>
    value === null ? [] : [value - (uncertainty ?? 0), value + (uncertainty ?? 0)],
  );
  const domain: [number, number] = [Math.min(0, ...reach), Math.max(10, ...reach) * 1.12];
  const key = [
    keyBox('measured', 'bar'),
    keyBox('at least, or so far', 'bar open'),
    keyBox('error larger than value', 'bar faint'),
    keyBox('not covered by readings', 'gap'),
    ...(means.length === 0 ? [] : [MEAN_KEY]),
    {
      words: 'reading error, k = 2',
      draw: (x: number, y: number) => whisker(x, y - 6, y + 6, 'whisker'),
    },
  ];
  const options = { title: `Net drained by ${NAMES[bucket]}`, unit: 'mL', body: BODY, domain, key };
  return framed(sheet, options, (y) =>
    [...bars.map((bar) => barDrawn(sheet, bar, y)), ...means.map((mean) => meanDrawn(sheet, mean, y))].join(
      '',
    ),
  );
}

/** Longer than a bar is wide: what drained in which hour of it nobody read. */
const isLong = ({ from, to, value }: Point): boolean => value !== null && to - from > HOUR_MS;

const MEAN_KEY: KeyEntry = {
  words: 'mean of longer interval, mL/h',
  draw: (x, y) => bracket(x - 6, x + 7, y),
};

const bracket = (left: number, right: number, y: number): string =>
  el('path', {
    d: `M${left.toFixed(1)},${(y - 4).toFixed(1)}v8m0,-4H${right.toFixed(1)}m0,-4v8`,
    class: 'mean',
  });

/** A bracket over the interval at the height of its mean rate, which is what an hour of it would have given. */
function meanDrawn(sheet: Sheet, { from, to, value }: Point, y: Scale): string {
  if (value === null || to <= sheet.over.from) return '';
  const [left, right] = [Math.max(sheet.x(from), plotLeft), sheet.x(to)];
  const words = text(String(value), (left + right) / 2, y(value) - 6, {
    'text-anchor': 'middle',
    class: 'small',
  });
  return bracket(left, right, y(value)) + (right - left > 26 ? words : '');
}

function barDrawn(sheet: Sheet, bar: Point, y: Scale): string {
  const { value, uncertainty, at_least: isLeast } = bar;
  if (bar.reasons.includes('not-in-place')) return '';
  const [left, right] = [Math.max(sheet.x(bar.from), plotLeft), Math.min(sheet.x(bar.to), plotRight(sheet))];
  const width = right - left;
  if (width <= 0) return '';
  if (value === null) return gapDrawn(left, width, y);
  const inset = Math.min(3, width / 6);
  const [top, bottom] = [Math.min(y(value), y(0)), Math.max(y(value), y(0))];
  const box = { x: left + inset, y: top, width: width - 2 * inset, height: Math.max(1, bottom - top) };
  const middle = left + width / 2;
  const isWide = width > 30;
  return [
    isLeast ? gapDrawn(left, width, y) : '',
    el('rect', { ...box, class: styleOf(bar) }),
    uncertainty === null || width < 6
      ? ''
      : whiskerDrawn(middle, width, y(value - uncertainty), y(value + uncertainty)),
    isWide
      ? text(`${isLeast ? '≥' : ''}${value}`, middle, y(value + Math.max(uncertainty ?? 0, 0)) - 4, {
          'text-anchor': 'middle',
          class: 'small',
        })
      : '',
  ].join('');
}

/** With a rim of paper, so that it shows on a filled bar. */
function whiskerDrawn(x: number, width: number, low: number, high: number): string {
  const foot = Math.min(4, width / 4);
  return whisker(x, low, high, 'halo', foot) + whisker(x, low, high, 'whisker', foot);
}

function gapDrawn(x: number, width: number, y: Scale): string {
  const [top, bottom] = [Math.min(...y.range()), y(0)];
  return el('rect', { x, y: top, width, height: bottom - top, class: 'gap' });
}

function styleOf({ at_least, flags }: Point): string {
  if (flags.includes('low-confidence')) return 'bar faint';
  return at_least || flags.includes('preliminary') ? 'bar open' : 'bar';
}
