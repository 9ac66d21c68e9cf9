/** The plots of a drain as one SVG image, readable in black and white, with what it shows in words. */
import { localText } from '../record/calendar.ts';
import { advisoryPanel } from './advisory-panel.ts';
import { barsPanel } from './bars-panel.ts';
import { cumulativePanel } from './cumulative-panel.ts';
import { type DrawnFrom, drawnData } from './drawn-data.ts';
import { type Panel, sheetOf } from './frame.ts';
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

const HEAD = 48;
const FOOT = 26;
const BETWEEN = 14;

/** @returns null where the time holds more than can be drawn */
export function drainPlot(options: PlotOptions): string | null {
  const { panels, width, style, caution, calendar, over } = options;
  const drawn = drawnData(options);
  if (drawn === null) return null;
  const sheet = sheetOf(calendar, over, width);
  const placed = stacked(panels.flatMap((name) => PANELS[name](sheet, drawn)));
  const height = HEAD + placed.height + FOOT;
  const titles = titlesOf(options);
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
    text(titles.title, 16, 22, { class: 'title' }),
    text(titles.time, 16, 40, { class: 'quiet' }),
    placed.drawn,
    text(caution, 16, height - 10, { class: 'quiet small' }),
  );
}

function titlesOf({ book, calendar, over }: PlotOptions) {
  const { site, tubes } = book.view;
  const shown = (at: typeof over.from) => localText(calendar, at).slice(0, 16).replace('T', ' ');
  return {
    title: `Drain ${book.drain}, ${(site ?? 'site not stated').replace('-', ' ')}, ${tubes.join(' and ')}`,
    time: `${shown(over.from)} to ${shown(over.to)}, ${calendar.zone}`,
  };
}

function stacked(panels: readonly Panel[]) {
  let top = HEAD;
  const drawn = panels.map((panel) => {
    const group = el('g', { transform: `translate(0 ${top})` }, panel.drawn);
    top += panel.height + BETWEEN;
    return group;
  });
  return { height: top - HEAD, drawn: drawn.join('') };
}
