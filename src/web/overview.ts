/** The overview: every open drain on one line, those first that somebody should look at. */

import { latestText, negativityText, windowText } from './amounts.ts';
import type { Overview, OverviewRow } from './answers.ts';
import { askKept } from './api.ts';
import { serviceNow } from './clock.ts';
import { button, type Child, h, link, unseen } from './dom.ts';
import { askFacts } from './facts.ts';
import { watch } from './live.ts';
import { fact, leakText, levelText } from './shown.ts';
import { ageText, clockText, MINUTE_MS } from './time.ts';
import { heading, type Place, redraw, staleNotice } from './view.ts';
import { drainText, referenceText, unitText } from './words.ts';

const SORTS = [
  ['-advisories', 'for review first'],
  ['-age', 'longest unread first'],
  ['-rate', 'highest rate first'],
  ['-fill', 'fullest first'],
  ['placed_at', 'oldest first'],
] as const;
const PAGE = 100;

export async function overviewView(place: Place): Promise<void> {
  const { zone } = await askFacts();
  let sort = sessionStorage.getItem('sort') ?? '-advisories';
  let rows = PAGE;

  async function draw(): Promise<void> {
    const path = `/v1/overview?sort=${sort}&count=${Math.min(rows, 200)}`;
    const { body, since } = await askKept<Overview>(path);
    if (place.left.aborted) return;
    const picker = sortPicker(sort, (chosen) => {
      sort = chosen;
      sessionStorage.setItem('sort', sort);
      void draw();
    });
    redraw(
      place.element,
      heading(`${body.open} open ${body.open === 1 ? 'drain' : 'drains'}`),
      staleNotice(since, zone),
      h('p', { class: 'actions' }, link('Place a drain', '#/place', 'button'), picker),
      body.drains.length === 0
        ? h('p', {}, 'No drain is open. Place one to begin.')
        : h(
            'ul',
            { class: 'drains' },
            body.drains.map((row) => card(row, zone)),
          ),
      body.next_after !== null &&
        button('Show more', () => {
          rows += PAGE;
          void draw();
        }),
    );
  }

  await draw();
  if (place.left.aborted) return;
  const quietly = () => void draw().catch(() => place.connected(false));
  const watching = watch('/v1/overview/live', { changed: quietly, connected: place.connected });
  // Ages grow while nothing is charted.
  const timer = setInterval(quietly, MINUTE_MS);
  place.left.addEventListener('abort', () => {
    watching.stop();
    clearInterval(timer);
  });
}

function sortPicker(now: string, choose: (sort: string) => void): HTMLElement {
  const select = h(
    'select',
    { 'data-key': 'sort', on: { change: () => choose(select.value) } },
    SORTS.map(([value, words]) => h('option', { value, selected: value === now }, words)),
  );
  return h('label', { class: 'inline' }, 'Order ', select);
}

function card(row: OverviewRow, zone: string): HTMLElement {
  const { drain, patient, advisories } = row;
  const open = advisories.filter(({ reviewed }) => !reviewed);
  const id = `drain-${drain}`;
  return h(
    'li',
    { class: open.length > 0 ? 'card attend' : 'card', 'aria-labelledby': id },
    h(
      'div',
      { class: 'who' },
      h('h2', { id }, link(drainText(row), `#/drain/${drain}`)),
      h('p', { class: 'quiet' }, referenceText(patient)),
      lastRead(row, zone),
    ),
    h('dl', { class: 'facts' }, factsOf(row)),
    advisories.length > 0 && h('ul', { class: 'advisories' }, advisories.map(advisoryItem)),
    h('p', { class: 'actions' }, link('Chart a reading', `#/drain/${drain}/enter/reading`, 'button main')),
  );
}

function lastRead({ last_reading_at, age_s, overdue }: OverviewRow, zone: string): Child {
  const words =
    last_reading_at === null
      ? `not read yet, ${ageText(age_s)} since placement`
      : `read ${ageText(age_s)} ago, ${clockText(last_reading_at, zone, serviceNow())}`;
  if (overdue === null) return h('p', { class: 'quiet' }, words);
  return h('p', { class: 'overdue' }, `${words}: expected every ${overdue.expected_every_h} h`);
}

function factsOf(row: OverviewRow): Child {
  const { last_interval: last, windows, total_negativity: negativity, air_leak, swing, clamped_since } = row;
  return [
    fact('Level', levelText(row)),
    fact('Last interval', last === null ? 'none yet' : latestText(last)),
    fact('24 h', windowText(windows.find(({ hours }) => hours === 24))),
    fact('Total negativity', negativity === null ? 'not charted' : negativityText(negativity, ' cmH2O')),
    fact('Air leak', leakText(air_leak)),
    fact('Swing', swing === null ? 'not charted' : swing),
    clamped_since !== null && fact('Tube', h('strong', {}, 'clamped')),
  ];
}

const advisoryItem = ({ title, value, unit, reviewed }: OverviewRow['advisories'][number]): HTMLElement =>
  h(
    'li',
    { class: reviewed ? 'seen' : undefined },
    unseen(reviewed ? 'Advisory, reviewed: ' : 'Advisory, for review: '),
    `${title}${value === null ? '' : `: ${value} ${unitText(unit)}`}`,
    reviewed && ' (reviewed)',
  );
