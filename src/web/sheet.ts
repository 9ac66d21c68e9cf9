/** A sheet of the last 24 hours, for paper: hours, chart, plots and cautions on white. */
import { volumeText } from './amounts.ts';
import type { CalendarWindows, Chart, State } from './answers.ts';
import { askImage, askSure, type Image } from './api.ts';
import { authorText } from './author.ts';
import { button, type Child, h, link } from './dom.ts';
import { askFacts } from './facts.ts';
import { nowSection } from './now.ts';
import { rowsTable } from './rows.ts';
import { tableView } from './table.ts';
import { momentText, wallText } from './time.ts';
import { heading, type Place } from './view.ts';
import { CAUTIONS, drainText, referenceText, wordsFor } from './words.ts';

const DAY_MS = 24 * 3_600_000;
const HOUR_MS = 3_600_000;
const PAPER_WIDTH_PX = 760;

interface Sheet {
  readonly state: State;
  readonly chart: Chart;
  readonly hours: CalendarWindows;
  readonly image: Image | null;
}

export async function sheetView(place: Place, drain: string): Promise<void> {
  const { zone } = await askFacts();
  const to = Date.now();
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
    hoursTable(hours),
    h('img', {
      class: 'plot',
      src: image?.address,
      alt: 'Plots of these 24 hours; the tables have the same values.',
    }),
    rowsTable(state.drain, chart.rows, zone, true),
    h('p', { class: 'quiet' }, `Printed ${now} by ${authorText() ?? '________________'}. ${NOT_THE_RECORD}`),
  );

const NOT_THE_RECORD = 'The record is the service, not this sheet.';

const hoursTable = ({ windows }: CalendarWindows): HTMLElement =>
  tableView(
    'Clock hours',
    'Net drained by clock hour',
    ['From', 'To', 'Net', 'Covered', 'Remark'],
    windows.filter(({ reason }) => reason !== 'not-in-place').map(hourRow),
  );

function hourRow(window: CalendarWindows['windows'][number]): HTMLElement {
  const { local_from, local_to, coverage, preliminary, reason, uncovered } = window;
  const remarks: Child = [reason, ...uncovered, preliminary ? 'so far' : null]
    .filter((each) => each !== null)
    .filter((each, n, all) => all.indexOf(each) === n)
    .map(wordsFor)
    .join(', ');
  return h(
    'tr',
    {},
    h('th', { scope: 'row' }, local_from.slice(11, 16)),
    h('td', {}, local_to.slice(11, 16)),
    h('td', { class: 'figure' }, window.net_ml === null ? '' : volumeText(window)),
    h('td', { class: 'figure' }, coverage === null ? '' : `${Math.floor(coverage * 100)} %`),
    h('td', {}, remarks),
  );
}
