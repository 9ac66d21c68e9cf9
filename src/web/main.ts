/** The bedside page: its frame, and which view is shown. */
import { NoAnswer } from './api.ts';
import { authorText, forgetAuthor } from './author.ts';
import { deviceAhead, onClock } from './clock.ts';
import { button, fill, h, link } from './dom.ts';
import { drainView } from './drain.ts';
import { correctView, enterView, placeView, reviewView, voidView, waitingView } from './enter.ts';
import { keepSending, onOutbox, waiting } from './outbox.ts';
import { overviewView } from './overview.ts';
import { sheetView } from './sheet.ts';
import { ageText, MINUTE_MS } from './time.ts';
import { failed, heading, type Place } from './view.ts';
import { CAUTIONS } from './words.ts';

/** By the address after the #, the first that fits; the view is given what stands in its brackets. */
const ROUTES: readonly (readonly [RegExp, (place: Place, ...found: string[]) => Promise<void>])[] = [
  [/^#?\/?$/, overviewView],
  [/^#\/place$/, placeView],
  [/^#\/drain\/(\w+)$/, drainView],
  [/^#\/drain\/(\w+)\/sheet$/, sheetView],
  [/^#\/drain\/(\w+)\/enter\/([a-z-]+)$/, enterView],
  [/^#\/drain\/(\w+)\/correct\/(\w+)$/, correctView],
  [/^#\/drain\/(\w+)\/void\/(\w+)$/, voidView],
  [/^#\/drain\/(\w+)\/review\/(.+)$/, reviewView],
  [/^#\/waiting\/(\w+)$/, waitingView],
];

const element = h('main', { id: 'view', tabindex: -1 });
const said = h('p', { class: 'said', role: 'status', hidden: true });
const connection = h('p', { class: 'connection', role: 'status' });
const clock = h('p', { class: 'clock-off', role: 'status', hidden: true });
const unsent = h('div', { class: 'unsent', role: 'status' });
const who = h('p', { class: 'author' });
let leave = new AbortController();

function say(words: string): void {
  said.textContent = words;
  said.hidden = words === '';
}

function connected(isConnected: boolean): void {
  connection.textContent = isConnected ? 'Up to date' : 'Not connected: this may be old';
  connection.classList.toggle('lost', !isConnected);
}

/** @param isAgain the same view as before, which could not be shown then */
async function show(isAgain = false): Promise<void> {
  leave.abort();
  leave = new AbortController();
  const { signal } = leave;
  connection.textContent = '';
  connection.classList.remove('lost');
  const found = ROUTES.map(([address, view]) => ({ match: address.exec(location.hash), view })).find(
    ({ match }) => match !== null,
  );
  const place: Place = { element, left: signal, say, connected };
  showWho();
  try {
    if (found?.match) await found.view(place, ...found.match.slice(1).map(decodeURIComponent));
    else notFound(place);
  } catch (error) {
    if (signal.aborted) return;
    fill(element, failed(error));
    if (error instanceof NoAnswer) showAgain(signal);
    // Whoever reads along by ear was told the first time.
    if (isAgain) return;
  }
  if (signal.aborted) return;
  const title = element.querySelector('h1');
  document.title = `${title?.textContent ?? ''} · drainledger`;
  title?.focus({ preventScroll: true });
  scrollTo(0, 0);
}

const AGAIN_MS = 5000;

function showAgain(left: AbortSignal): void {
  const timer = setTimeout(() => void show(true), AGAIN_MS);
  left.addEventListener('abort', () => clearTimeout(timer));
}

const notFound = ({ element: place }: Place): void =>
  fill(place, heading('There is nothing here'), link('To the overview', '#/'));

function showWho(): void {
  const author = authorText();
  if (author === null) {
    fill(who, 'Nobody is named yet');
    return;
  }
  const change = button('Change', () => {
    forgetAuthor();
    showWho();
  });
  fill(who, `Charting: ${author} `, change);
}

function showClock(): void {
  const ahead = deviceAhead();
  clock.hidden = ahead === 0;
  const where = `${ageText(Math.round(Math.abs(ahead) / MINUTE_MS) * 60)} ${ahead > 0 ? 'ahead' : 'behind'}`;
  clock.textContent =
    ahead === 0 ? '' : `The clock of this device is ${where}. Times here are those of the service.`;
}

function showUnsent(): void {
  const entries = waiting();
  const refused = entries.filter((each) => each.refused !== null);
  const held = entries.length - refused.length;
  fill(
    unsent,
    held > 0 && h('p', {}, `${held} not yet sent. Kept in this browser, and sent by itself.`),
    refused.map(({ id, words }) => h('p', {}, `Not taken: ${words}. `, link('Mend it', `#/waiting/${id}`))),
  );
  showWho();
}

document.body.prepend(
  h('a', { class: 'skip', href: '#view', on: { click: skip } }, 'To the content'),
  h(
    'header',
    {},
    h(
      'nav',
      { 'aria-label': 'Pages' },
      link('Drains', '#/', 'brand'),
      link('Place a drain', '#/place'),
      link('API', '/reference'),
    ),
    connection,
    who,
  ),
  clock,
  unsent,
  said,
  element,
  h('footer', {}, h('p', { class: 'caution' }, CAUTIONS)),
);

/** The address names the view, so a jump within the page is made by hand. */
function skip(event: Event): void {
  event.preventDefault();
  element.focus();
}

addEventListener('hashchange', (event) => {
  // What was said belongs to the view it led to, and to no later one.
  if (
    new URL(event.oldURL).hash !== '' &&
    !/\/(enter|correct|void|review|waiting)\b|place$/.test(event.oldURL)
  )
    say('');
  void show();
});
onClock(showClock);
showClock();
onOutbox(showUnsent);
showUnsent();
keepSending(say);
void navigator.serviceWorker?.register('/page/worker.js', { scope: '/' }).catch(() => undefined);
void show();
