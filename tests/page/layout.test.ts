/** Nothing is cut off, torn apart or too small to touch, on a tablet either way up and on a telephone. */
import type { Page } from 'playwright-core';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { level, placeDrain, tell } from '../http/messages.ts';
import { describeInBrowser, minutesAgo, openWard, plotsDrawn, type Ward } from './browser.ts';
import { chartedDrain } from './seed.ts';

const SCREENS = [
  ['tablet upright', 820, 1180],
  ['tablet across', 1180, 820],
  ['small tablet upright', 768, 1024],
  ['telephone', 390, 844],
  // WCAG 2.2, 1.4.10 Reflow.
  ['desk enlarged to 400 %', 320, 256],
] as const;

/** As long as the service takes them, and without a blank to be broken at. */
const LONG_NAMES = {
  tubes: ['anterior apical of the upper left field', 'p'.repeat(40)],
  patient: { identifier: { system: 'urn:example:numbers', value: `MRN-${'0'.repeat(60)}` } },
};

/** What can be done with a row is seen without scrolling the table. */
const OUT_OF_SIGHT = `[...document.querySelectorAll('.change a')]
  .filter((each) => each.getBoundingClientRect().right > document.documentElement.clientWidth)
  .map((each) => each.textContent)`;

/** 44 px: WCAG 2.2, 2.5.5 Target Size (Enhanced). Links within a sentence are excepted there; the page has them in its paragraphs. */
const TOO_SMALL = `[...document.querySelectorAll('a, button, summary, select, input, textarea')]
  .map((each) => (each.matches('[type=radio], [type=checkbox]') ? each.closest('label') : each))
  .filter((each) => each.checkVisibility() && !each.matches('.skip, p:not(.actions) a'))
  .filter((each) => each.getBoundingClientRect().height < 44)
  .map((each) => each.outerHTML)`;

/** The values that a browser lays out in more than one line. */
const TORN = `[...document.querySelectorAll('.value')]
  .filter((each) => each.checkVisibility() && each.getClientRects().length !== 1)
  .map((each) => each.textContent)`;
const VALUES = `document.querySelectorAll('.value').length`;
/** Where a word of a value is outside of such an element, nothing keeps it whole. */
const LOOSE = `[...document.querySelectorAll('main *')]
  .flatMap((each) => [...each.childNodes])
  .filter((each) => each.nodeType === Node.TEXT_NODE && each.parentElement.className !== 'value')
  .map((each) => each.data)
  .filter((words) => words.includes('±'))`;

describeInBrowser('every view at the bedside', () => {
  let ward: Ward;
  let drains: Readonly<Record<string, string>>;
  beforeAll(async () => {
    ward = await openWard();
    const drain = await chartedDrain(ward, 'layout');
    const { moment } = minutesAgo(60);
    const long = await placeDrain(ward.service, 'long', moment, LONG_NAMES);
    await tell(long, level('long-1', moment, 20, { note: 'n'.repeat(200) }));
    drains = { DRAIN: drain.drain, LONG: long.drain };
  });
  afterAll(() => ward.close());

  test.each(SCREENS)('keeps to a %s', async (_screen, width, height) => {
    const page = await ward.open('/#/', { viewport: { width, height } });
    let values = 0;
    for (const view of VIEWS) {
      // Of a view that only follows another in the address the heading may still be that of the other.
      await page.goto('about:blank');
      await page.goto(`${ward.service.url}/#${view.replace(/DRAIN|LONG/, (name) => drains[name] ?? '')}`);
      await page.locator('main h1').waitFor();
      if (/(DRAIN|LONG)$|sheet$/.test(view)) await plotsDrawn(page);
      if (view.endsWith('DRAIN')) await openEvidence(page);
      await expectWhole(page, view);
      values += Number(await page.evaluate(VALUES));
    }
    expect(values).toBeGreaterThan(0);
  });
});

const VIEWS = [
  '/place',
  '/',
  '/drain/DRAIN/enter/reading',
  '/drain/DRAIN/enter/set-up',
  '/drain/DRAIN',
  '/drain/DRAIN/sheet',
  '/drain/LONG',
];

async function openEvidence(page: Page): Promise<void> {
  await page.getByText('Evidence for removal').click();
  await page.getByLabel('Policy').selectOption('lobectomy-450-ml-2017');
  await page.getByText('Outstanding:').waitFor();
}

async function expectWhole(page: Page, view: string): Promise<void> {
  const wider = 'document.documentElement.scrollWidth - document.documentElement.clientWidth';
  const found = await page.evaluate(
    `({ wider: ${wider}, small: ${TOO_SMALL}, torn: ${TORN}, loose: ${LOOSE}, away: ${OUT_OF_SIGHT} })`,
  );
  expect({ view, ...(found as object) }).toEqual({
    view,
    wider: 0,
    small: [],
    torn: [],
    loose: [],
    away: [],
  });
}
