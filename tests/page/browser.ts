/** A real Chromium for tests of the page: Debian's package `chromium`, or another that CHROMIUM names. */
import { existsSync, mkdirSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import axe from 'axe-core';
import { type Browser, type BrowserContextOptions, chromium, type Locator, type Page } from 'playwright-core';
import { describe, expect } from 'vitest';
import { momentText, wallText } from '../../src/web/time.ts';
import { startTestService, type TestService } from '../http/service.ts';

const FOUND = [process.env.CHROMIUM, '/usr/bin/chromium', '/usr/bin/chromium-browser'].find(
  (path) => path !== undefined && existsSync(path),
);
const WITHOUT = 'no Chromium: install the Debian package chromium, or name one in CHROMIUM';
if (FOUND === undefined && process.env.CI === 'true') throw new Error(WITHOUT);
if (FOUND === undefined) console.warn(`The page is not tested: ${WITHOUT}.`);

/** Tests that need a browser; where there is none they are skipped, on a build server they fail. */
export const describeInBrowser = describe.skipIf(FOUND === undefined);

const ZONE = 'Europe/Berlin';
const BUILT = fileURLToPath(new URL('../../dist/web/main.js', import.meta.url));
const PICTURES = fileURLToPath(new URL('../../reports/page', import.meta.url));
const LIMIT_MS = 20_000;
/** A machine that is busy with other tests starts a browser slowly. */
const LAUNCH_LIMIT_MS = 45_000;

export interface Ward {
  readonly service: TestService;
  readonly browser: Browser;
  /** A browser of its own, with nothing kept from others. */
  open(path: string, options?: BrowserContextOptions): Promise<Page>;
  close(): Promise<void>;
}

/** @param own a service that is running already; by default one of its own */
export async function openWard(own?: TestService): Promise<Ward> {
  if (!existsSync(BUILT)) throw new Error('the page is not built: npm run build');
  mkdirSync(PICTURES, { recursive: true });
  const service = own ?? (await startTestService({ DRAINLEDGER_ZONE: ZONE }));
  const browser = await chromium.launch({
    executablePath: FOUND ?? '',
    args: ['--no-sandbox', '--disable-gpu'],
    timeout: LAUNCH_LIMIT_MS,
  });
  return {
    service,
    browser,
    async open(path, options = {}) {
      const context = await browser.newContext({ viewport: DESK, locale: 'en-GB', ...options });
      context.setDefaultTimeout(LIMIT_MS);
      const page = await context.newPage();
      failOnErrors(page);
      await page.goto(`${service.url}${path}`);
      return page;
    },
    async close() {
      await browser.close();
      if (own === undefined) await service.stop();
    },
  };
}

const DESK = { width: 1180, height: 850 };
const TABLET = { width: 820, height: 1180 };

/** An error that nobody sees in the page would be lost otherwise. A fetch that fails is the page's own to handle. */
function failOnErrors(page: Page): void {
  page.on('pageerror', (error) => {
    throw error;
  });
  page.on('console', (message) => {
    if (message.type() === 'error' && /Content Security Policy|Refused to/.test(message.text()))
      throw new Error(message.text());
  });
}

interface Violation {
  readonly id: string;
  readonly impact: string;
  readonly nodes: readonly { readonly html: string; readonly failureSummary: string }[];
}

/** axe-core finds nothing of moderate impact or more (WCAG 2.2 A and AA, and its best practices). */
async function expectAccessible(page: Page): Promise<void> {
  await page.evaluate(axe.source);
  const found = (await page.evaluate('axe.run().then(({ violations }) => violations)')) as Violation[];
  const bad = found.filter(({ impact }) => impact !== 'minor');
  expect(
    bad.map(({ id, nodes }) => [id, nodes.map(({ html, failureSummary }) => [html, failureSummary])]),
  ).toEqual([]);
}

/** Each view as it is seen: by day, by night, and on a tablet; and axe looks at each. */
export async function picture(page: Page, name: string): Promise<void> {
  for (const [look, colorScheme, viewport] of LOOKS) {
    await page.emulateMedia({ colorScheme });
    await page.setViewportSize(viewport);
    await expectAccessible(page);
    await page.screenshot({ path: `${PICTURES}/${name}-${look}.png`, fullPage: true });
  }
  await page.emulateMedia({ colorScheme: 'light' });
  await page.setViewportSize(DESK);
}

const LOOKS = [
  ['light', 'light', DESK],
  ['dark', 'dark', DESK],
  ['tablet', 'light', TABLET],
] as const;

/** The minute in which a file of tests begins: what it charts keeps its distances while the clock goes on. */
const BEGAN_MS = Math.floor(Date.now() / 60_000) * 60_000;

/** A moment before that, as the clock on the wall shows it, and as the API writes it. */
export function minutesAgo(minutes: number): { readonly wall: string; readonly moment: string } {
  const at = BEGAN_MS - minutes * 60_000;
  return { wall: wallText(at, ZONE), moment: momentText(at, ZONE) };
}

/** Types the time of an entry. */
export async function setTimeTo(page: Page, { wall }: { readonly wall: string }): Promise<void> {
  const [date = '', clock = ''] = wall.split('T');
  await field(page, 'effective_at.date').fill(date);
  await field(page, 'effective_at.clock').fill(clock.replace(':', ''));
}

export async function nameAuthor(page: Page): Promise<void> {
  await page.getByLabel('Your staff identifier').fill('n-1042');
  await page.getByRole('button', { name: 'Go on' }).click();
}

/** Presses one of a row of buttons. */
export async function choose(page: Page, group: string, words: string): Promise<void> {
  await page.getByRole('group', { name: group }).getByRole('radio', { name: words, exact: true }).check();
}

/** Lays the page anew, so that from here on the worker stands between page and service. */
export async function behindWorker(page: Page): Promise<void> {
  await page.evaluate('navigator.serviceWorker.ready.then(() => true)');
  await page.reload();
}

/** Under what the browser keeps entries that wait, or drafts. */
export const keptIds = (page: Page, prefix: 'waiting' | 'draft'): Promise<string[]> =>
  page.evaluate(`Object.keys(localStorage).filter((key) => key.startsWith('${prefix} '))`);

/** The drain that the address names. */
export const drainShown = (page: Page): string => /#\/drain\/(\w+)/.exec(page.url())?.[1] ?? '';

interface Drawn {
  decode(): Promise<void>;
}

/** The plots stand on the page, and are an image that the browser can draw. */
export async function plotsDrawn(page: Page): Promise<void> {
  const image = page.locator('img.plot');
  await image.waitFor();
  await image.evaluate((element) => (element as unknown as Drawn).decode());
}

/** What is typed or chosen for a path of the entry. */
export const field = (page: Page, path: string): Locator => page.locator(`[name="${path}"]`);
