/** A sheet of the last 24 hours, for paper: hours, chart, plots and cautions on white. */

import type { CalendarWindows, Chart, State } from './answers.ts';
import { askImage, askSure, type Image } from './api.ts';
import { authorText } from './author.ts';
import { serviceNow } from './clock.ts';
import { button, h, link } from './dom.ts';
import { askFacts } from './facts.ts';
import { hourLines } from './hours.ts';
import { nowSection } from './now.ts';
import { rowsTable } from './rows.ts';
import { tableView } from './table.ts';
import { clockText, DAY_MS, HOUR_MS, momentText, wallText } from './time.ts';
import { heading, type Place } from './view.ts';
import { CAUTIONS, drainText, referenceText } from './words.ts';

const PAPER_WIDTH_PX = 760;

interface Sheet {
  readonly state: State;
  readonly chart: Chart;
  readonly hours: CalendarWindows;
  readonly image: Image | null;
}

export async function sheetView(place: Place, drain: string): Promise<void> {
  const { zone } = await askFacts();
  const to = serviceNow();
  const from = Math.floor((to - DAY_MS) / HOUR_MS) * HOUR_MS;
  const sheet = await asked(drain, momentText(from, zone), momentText(to, zone));
  const shown = (at: number): string => wallText(at, zone).replace('T', ' ');
  if (!place.left.aborted)
    place.element.replaceChildren(paper(sheet, zone, `${shown(from)} to ${shown(to)}, ${zone}`, shown(to)));
}

async function asked(drain: string, from: string, to: string): Promise<Sheet> {
  const of = `/v1/drains/${drain}`;
  const [start, end] = [encodeURIComponent(from), encodeURIComponent(to)];
  const [state, chart, hours, image] = await Promise.all([
    askSure<State>(`${of}/state`),
    askSure<Chart>(`${of}/chart?from=${start}`),
    askSure<CalendarWindows>(`${of}/windows?kind=hour&from=${start}&to=${end}`),
    askImage(`${of}/plot.svg?from=${start}&to=${end}&width=${PAPER_WIDTH_PX}&theme=light`, null),
  ]);
  return { state, chart, hours, image };
}

const paper = ({ state, chart, hours, image }: Sheet, zone: string, time: string, now: string): HTMLElement =>
  h(
    'article',
    { class: 'sheet' },
    heading(`24 h sheet: ${drainText(state)}`),
    h('p', {}, `${referenceText(state.patient)} · drain ${state.drain} · ${time}`),
    h('p', { class: 'caution' }, CAUTIONS),
    h(
      'p',
      { class: 'actions' },
      button('Print', () => print(), { class: 'main' }),
      link('Back', `#/drain/${state.drain}`, 'button'),
    ),
    nowSection(state, zone),
    hoursTable(hours, zone),
    rowsTable(chart, zone, true),
    h('img', {
      class: 'plot',
      src: image?.address,
      alt: 'Plots of these 24 hours; the tables have the same values.',
    }),
    h('p', { class: 'quiet' }, `Printed ${now} by ${authorText() ?? '________________'}. ${NOT_THE_RECORD}`),
  );

const NOT_THE_RECORD = 'The record is the service, not this sheet.';

const NO_DAY = '1970-01-01T00:00:00Z';

const hoursTable = ({ windows }: CalendarWindows, zone: string): HTMLElement =>
  tableView(
    'Clock hours',
    'Net drained by clock hour',
    ['From', 'To', 'Net', 'Covered', 'Remark'],
    hourLines(windows).map(({ from, to, net, covered, remark }, n, lines) =>
      h(
        'tr',
        {},
        // With the day where it is another than before: the hour at which a sheet begins may stand on it twice.
        h('th', { scope: 'row' }, clockText(from, zone, Date.parse(lines[n - 1]?.from ?? NO_DAY))),
        h('td', {}, clockText(to, zone, Date.parse(from))),
        h('td', { class: 'figure' }, net),
        h('td', { class: 'figure' }, covered),
        h('td', {}, remark),
      ),
    ),
  );
