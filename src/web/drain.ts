/** One drain: where it stands, what is for review, its trends and its chart, and what can be charted. */

import { advisoriesSection } from './advisories.ts';
import type { Advisories, Chart, State } from './answers.ts';
import { askKept, type Kept } from './api.ts';
import { serviceNow } from './clock.ts';
import { button, type Child, h, link } from './dom.ts';
import { askFacts } from './facts.ts';
import { EVENTS } from './fields.ts';
import { watch } from './live.ts';
import { nowSection } from './now.ts';
import { onOutbox, waiting } from './outbox.ts';
import { plotsSection } from './plots.ts';
import { removalSection } from './removal.ts';
import { rowsTable, waitingRows } from './rows.ts';
import { HOUR_MS, MINUTE_MS } from './time.ts';
import { heading, type Place, redraw, staleNotice } from './view.ts';
import { drainText, referenceText, wordsFor } from './words.ts';

const CHART_MS = 72 * HOUR_MS;

/** Rows of the last three days; a long stay has too many to look at, but they can be had. */
export function askChart(drain: string, isWhole = false): Promise<Kept<Chart>> {
  const from = new Date(serviceNow() - CHART_MS).toISOString();
  const path = `/v1/drains/${drain}/chart`;
  return isWhole ? askKept(path) : askKept(`${path}?from=${from}`, `chart ${drain}`);
}

const NO_ADVISORIES = 'What is for review cannot be shown now.';

export async function drainView(place: Place, drain: string): Promise<void> {
  const { zone } = await askFacts();
  const [top, chart] = [h('div'), h('section', { 'aria-labelledby': 'chart' })];
  const plots = plotsSection(drain);
  let isWhole = false;

  async function draw(): Promise<void> {
    const [state, advisories, rows] = await Promise.all([
      askKept<State>(`/v1/drains/${drain}/state`),
      askKept<Advisories>(`/v1/drains/${drain}/advisories`).catch(() => null),
      askChart(drain, isWhole),
    ]);
    if (place.left.aborted) return;
    const unsent = waiting().filter((each) => each.drain === drain);
    redraw(
      top,
      headOf(state.body),
      staleNotice(state.since, zone),
      waitingRows(unsent, zone),
      state.body.removed_at === null ? actionsOf(drain) : lateActionsOf(drain),
      othersOf(state.body),
      h(
        'div',
        { class: 'columns' },
        nowSection(state.body, zone),
        advisories === null ? NO_ADVISORIES : advisoriesSection(drain, advisories.body, zone),
      ),
    );
    const showWhole = button('Show all since placement', () => {
      isWhole = true;
      void draw();
    });
    redraw(
      chart,
      h('h2', { id: 'chart' }, isWhole ? 'Chart since placement' : 'Chart of the last 3 days'),
      rowsTable(rows.body, zone),
      !isWhole && h('p', { class: 'actions' }, showWhole),
    );
  }

  await draw();
  if (place.left.aborted) return;
  place.element.replaceChildren(top, plots.element, removalSection(drain), chart);
  // Not waited for: the view would take the focus, and go to its top, from under whoever works in it already.
  void plots.draw();
  keepUp(place, drain, () => {
    void draw().catch(() => place.connected(false));
    void plots.draw();
  });
}

function keepUp(place: Place, drain: string, changed: () => void): void {
  const watching = watch(`/v1/drains/${drain}/live`, { changed, connected: place.connected });
  const timer = setInterval(changed, MINUTE_MS);
  const stop = onOutbox(changed);
  place.left.addEventListener('abort', () => {
    watching.stop();
    clearInterval(timer);
    stop();
  });
}

function headOf(state: State): Child {
  const { drain, patient, removed_at, population } = state;
  const who = [
    referenceText(patient),
    population === undefined ? 'adult or child not stated' : wordsFor(population),
    drain,
  ];
  return [
    heading(drainText(state)),
    h('p', { class: 'quiet' }, who.join(' · ')),
    removed_at !== null && h('p', { class: 'notice' }, 'This drain is out.'),
  ];
}

function othersOf({ drains_of_patient: others }: State): Child {
  if (others.length === 0) return null;
  const links = others.map((each) => {
    const words = `${drainText(each)}${each.removed_at === null ? '' : ' (out)'}`;
    return link(words, `#/drain/${each.drain}`, 'button');
  });
  return h('nav', { class: 'others', 'aria-label': 'Other drains of this patient' }, 'Same patient: ', links);
}

const actionsOf = (drain: string): HTMLElement =>
  h(
    'div',
    { class: 'actions' },
    link('Chart a reading', `#/drain/${drain}/enter/reading`, 'button main'),
    menuOf(drain, 'Chart an event', EVENTS),
    sheetLink(drain),
  );

/** What was seen before it came out may be charted afterwards, the last level most of all. */
const lateActionsOf = (drain: string): HTMLElement =>
  h(
    'div',
    { class: 'actions' },
    menuOf(drain, 'Chart a late entry', ['reading', ...EVENTS.filter((kind) => kind !== 'removed')]),
    sheetLink(drain),
  );

const sheetLink = (drain: string): HTMLElement => link('24 h sheet', `#/drain/${drain}/sheet`, 'button');

const menuOf = (drain: string, words: string, kinds: readonly string[]): HTMLElement =>
  h(
    'details',
    { class: 'more', 'data-key': 'events' },
    h('summary', { class: 'button' }, words),
    h(
      'ul',
      { class: 'menu' },
      kinds.map((kind) => h('li', {}, link(wordsFor(kind), `#/drain/${drain}/enter/${kind}`))),
    ),
  );
