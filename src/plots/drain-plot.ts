/** The plots of a drain as one SVG image, readable in black and white, with what it shows in words. */
import { localText } from '../record/calendar.ts';
import { advisoryPanel } from './advisory-panel.ts';
import { barsPanel } from './bars-panel.ts';
import { cumulativePanel } from './cumulative-panel.ts';
import { type DrawnFrom, drawnData } from './drawn-data.ts';
import { KEY_LETTER_PX, type Panel, sheetOf, TITLE_LETTER_PX } from './frame.ts';
import { leakPanels } from './leak-panel.ts';
import { pressurePanel } from './pressure-panel.ts';
import { el, escapeText, text } from './svg.ts';

export interface PlotOptions extends DrawnFrom {
  readonly panels: readonly PanelName[];
  readonly width: number;
  /** The style of the image, as an element. */
  readonly style: string;
  readonly caution: string;
}

const PANELS = {
  cumulative: (...of) => [cumulativePanel(...of)],
  bars: (...of) => [barsPanel(...of)],
  pressure: (...of) => [pressurePanel(...of)],
  leak: leakPanels,
  advisories: (...of) => [advisoryPanel(...of)],
} as const satisfies Readonly<Record<string, typeof leakPanels>>;

export type PanelName = keyof typeof PANELS;

const FOOT = 26;
const BETWEEN = 14;
const MARGIN = 16;
const LINE = { title: 18, small: 14 } as const;

/** @returns null where the time holds more than can be drawn */
export function drainPlot(options: PlotOptions): string | null {
  const { panels, width, style, caution, calendar, over } = options;
  const drawn = drawnData(options);
  if (drawn === null) return null;
  const sheet = sheetOf(calendar, over, width);
  const titles = titlesOf(options);
  const title = inLines(titles.title, (width - 2 * MARGIN) / TITLE_LETTER_PX);
  const time = inLines(titles.time, (width - 2 * MARGIN) / TITLE_LETTER_PX);
  const cautions = inLines(caution, (width - 2 * MARGIN) / KEY_LETTER_PX);
  const timeTop = 40 + (title.length - 1) * LINE.title;
  const head = timeTop + 8 + (time.length - 1) * LINE.small;
  const placed = stacked(
    panels.flatMap((name) => PANELS[name](sheet, drawn)),
    head,
  );
  const foot = head + placed.height + FOOT - 10;
  const height = foot + (cautions.length - 1) * LINE.small + 10;
  return el(
    'svg',
    {
      xmlns: 'http://www.w3.org/2000/svg',
      viewBox: `0 0 ${width} ${height}`,
      width,
      height,
      role: 'img',
      'aria-labelledby': 't d',
    },
    el('title', { id: 't' }, escapeText(titles.title)),
    el('desc', { id: 'd' }, escapeText(`${titles.time}. ${caution}`)),
    style,
    el('rect', { width, height, class: 'paper' }),
    ...title.map((words, n) => text(words, MARGIN, 22 + n * LINE.title, { class: 'title' })),
    ...time.map((words, n) => text(words, MARGIN, timeTop + n * LINE.small, { class: 'quiet' })),
    placed.drawn,
    ...cautions.map((words, n) => text(words, MARGIN, foot + n * LINE.small, { class: 'quiet small' })),
  );
}

/** Broken between words; a word that is longer than a line stands on one of its own. */
function inLines(words: string, most: number): readonly string[] {
  const lines: string[] = [];
  for (const word of words.split(' ')) {
    const last = lines.at(-1);
    if (last !== undefined && last.length + 1 + word.length <= most)
      lines[lines.length - 1] = `${last} ${word}`;
    else lines.push(word);
  }
  return lines;
}

function titlesOf({ book, calendar, over }: PlotOptions) {
  const { site, tubes } = book.view;
  const shown = (at: typeof over.from) => localText(calendar, at).slice(0, 16).replace('T', ' ');
  return {
    title: `Drain ${book.drain}, ${(site ?? 'site not stated').replace('-', ' ')}, ${tubes.join(' and ')}`,
    time: `${shown(over.from)} to ${shown(over.to)}, ${calendar.zone}`,
  };
}

function stacked(panels: readonly Panel[], head: number) {
  let top = head;
  const drawn = panels.map((panel) => {
    const group = el('g', { transform: `translate(0 ${top})` }, panel.drawn);
    top += panel.height + BETWEEN;
    return group;
  });
  return { height: top - head, drawn: drawn.join('') };
}
