/** The frame of a panel: title, time axis in the zone of the facility, value axis with its unit. */
import { type ScaleLinear, scaleLinear } from 'd3-scale';
import type { Span } from '../domain/fold/interval.ts';
import { HOUR_MS } from '../domain/numbers/units.ts';
import type { Calendar } from '../domain/vocabulary/configuration.ts';
import { localText, windowsOver } from '../record/calendar.ts';
import { el, line, mark, type Shape, text } from './svg.ts';

export type Scale = ScaleLinear<number, number>;

/** What all panels share. */
export interface Sheet {
  readonly width: number;
  readonly over: Span;
  readonly x: Scale;
  readonly ticks: readonly Tick[];
}

interface Tick {
  readonly at: number;
  readonly clock: string;
  /** Where a date begins, and at the first tick. */
  readonly date: string | null;
}

export interface Panel {
  readonly height: number;
  readonly drawn: string;
}

/** One entry of a panel's key: what a mark means. */
export interface KeyEntry {
  readonly words: string;
  /** Draws the mark around a point. */
  draw(x: number, y: number): string;
}

const LEFT = 58;
const RIGHT = 18;
const TITLE = 28;
const KEY_ROW = 16;
const FOOT = 36;
const PIXELS_A_TICK = 76;
const STEPS_H = [1, 2, 3, 4, 6, 8, 12, 24, 48, 96, 168] as const;
const MOST_HOURS = 24 * 400;
export const KEY_LETTER_PX = 6.3;
/** On the wide side: nothing here can measure text. */
export const TITLE_LETTER_PX = 8.6;
/** A date is wider than the margin: one at the end of the time is moved in, or it would be cut. */
const DATE_HALF_PX = 36;

export function sheetOf(calendar: Calendar, over: Span, width: number): Sheet {
  const x = scaleLinear([over.from, over.to], [LEFT, width - RIGHT]);
  return { width, over, x, ticks: ticksOf(calendar, over, (width - LEFT - RIGHT) / PIXELS_A_TICK) };
}

/** On full hours of the wall clock, as many as there is room for. */
function ticksOf(calendar: Calendar, over: Span, room: number): readonly Tick[] {
  const hours = (over.to - over.from) / HOUR_MS;
  const step = STEPS_H.find((each) => hours / each <= room) ?? 168;
  const days = step > 24 ? step / 24 : 1;
  let date = '';
  let midnights = -1;
  return windowsOver(calendar, 'hour', over, MOST_HOURS).flatMap(({ from }) => {
    const local = localText(calendar, from);
    const hour = Number(local.slice(11, 13));
    if (hour === 0) midnights += 1;
    if (from < over.from || hour % Math.min(step, 24) !== 0 || (step > 24 && midnights % days !== 0))
      return [];
    const isNewDate = local.slice(0, 10) !== date;
    date = local.slice(0, 10);
    return [{ at: from, clock: local.slice(11, 16), date: isNewDate ? date : null }];
  });
}

export interface FrameOptions {
  readonly title: string;
  readonly unit: string;
  /** Of the drawing itself, px. */
  readonly body: number;
  readonly domain: readonly [number, number];
  readonly key: readonly KeyEntry[];
  /** Whole numbers only, such as grades. */
  readonly whole?: boolean;
}

/** @param draw draws the contents, given the scale of values */
export function framed(sheet: Sheet, options: FrameOptions, draw: (y: Scale) => string): Panel {
  const { title, unit, body, domain, key, whole = false } = options;
  const keyed = keyDrawn(key, sheet.width - RIGHT);
  const top = TITLE + keyed.rows * KEY_ROW;
  const y = scaleLinear(domain, [top + body, top]);
  if (!whole) y.nice(4);
  const values = whole ? y.ticks(Math.min(domain[1] - domain[0], 5)).filter(Number.isInteger) : y.ticks(4);
  const drawn = [
    titleDrawn(`${title}, ${unit}`, sheet.width),
    keyed.drawn,
    ...values.map((value) => valueTick(value, y(value), sheet.width)),
    timeAxis(sheet, top, top + body),
    draw(y),
  ];
  return { height: top + body + FOOT, drawn: drawn.join('') };
}

/** Above the axis of time; where that leaves too little room, as far to the left as it must begin. */
const titleDrawn = (words: string, width: number): string =>
  text(words, Math.max(4, Math.min(LEFT, width - words.length * TITLE_LETTER_PX)), 16, { class: 'title' });

const valueTick = (value: number, y: number, width: number): string =>
  line(LEFT, y, width - RIGHT, y, value === 0 ? 'axis' : 'grid') +
  text(String(value), LEFT - 8, y + 4, { 'text-anchor': 'end', class: 'quiet' });

export function timeAxis({ x, ticks, width }: Sheet, top: number, bottom: number): string {
  const drawn = ticks.map(({ at, clock, date }) => {
    const label = { 'text-anchor': 'middle', class: 'quiet' };
    return (
      line(x(at), top, x(at), bottom, 'grid') +
      text(clock, x(at), bottom + 15, label) +
      (date === null
        ? ''
        : text(date, Math.min(x(at), width - DATE_HALF_PX), bottom + 29, { ...label, class: 'quiet small' }))
    );
  });
  return drawn.join('') + line(LEFT, bottom, width - RIGHT, bottom, 'axis');
}

/** On as many rows as it needs. */
function keyDrawn(key: readonly KeyEntry[], right: number) {
  let [x, row] = [LEFT + 6, 0];
  const drawn = key.map(({ words, draw }) => {
    const width = 34 + words.length * KEY_LETTER_PX;
    if (x > LEFT + 6 && x + width - 14 > right) [x, row] = [LEFT + 6, row + 1];
    const y = 34 + row * KEY_ROW;
    const entry = draw(x, y - 4) + text(words, x + 12, y, { class: 'quiet small' });
    x += width;
    return entry;
  });
  return { drawn: drawn.join(''), rows: row + 1 };
}

export const keyMark = (words: string, shape: Shape, style: string): KeyEntry => ({
  words,
  draw: (x, y) => mark(shape, x, y, style),
});

export const keyBox = (words: string, style: string): KeyEntry => ({
  words,
  draw: (x, y) => el('rect', { x: x - 6, y: y - 5, width: 13, height: 10, class: style }),
});

export const plotLeft = LEFT;
export const plotRight = ({ width }: Sheet): number => width - RIGHT;
