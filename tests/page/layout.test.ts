/** Nothing is cut off, torn apart or too small to touch, on a tablet either way up and on a telephone. */
import type { Page } from 'playwright-core';
import { afterAll, beforeAll, expect, test } from 'vitest';
import type { TestDrain } from '../http/messages.ts';
import { describeInBrowser, openWard, plotsDrawn, type Ward } from './browser.ts';
import { chartedDrain } from './seed.ts';

const SCREENS = [
  ['tablet upright', 820, 1180],
  ['tablet across', 1180, 820],
  ['telephone', 390, 844],
] as const;

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
  let drain: TestDrain;
  beforeAll(async () => {
    ward = await openWard();
    drain = await chartedDrain(ward, 'layout');
  });
  afterAll(() => ward.close());

  test.each(SCREENS)('keeps to a %s', async (_screen, width, height) => {
    const page = await ward.open('/#/', { viewport: { width, height } });
    for (const view of VIEWS) {
      await page.goto(`${ward.service.url}/#${view.replace('DRAIN', drain.drain)}`);
      await page.locator('main h1').waitFor();
      await page.waitForLoadState('networkidle');
      if (/DRAIN$|sheet$/.test(view)) await plotsDrawn(page);
      if (view.endsWith('DRAIN')) await openEvidence(page);
      await expectWhole(page, view);
    }
    expect(await page.evaluate(VALUES)).toBeGreaterThan(0);
  });
});

const VIEWS = [
  '/place',
  '/',
  '/drain/DRAIN/enter/reading',
  '/drain/DRAIN/enter/set-up',
  '/drain/DRAIN',
  '/drain/DRAIN/sheet',
];

async function openEvidence(page: Page): Promise<void> {
  await page.getByText('Evidence for removal').click();
  await page.getByLabel('Policy').selectOption('lobectomy-450-ml-2017');
  await page.getByText('Outstanding:').waitFor();
}

async function expectWhole(page: Page, view: string): Promise<void> {
  const wider = 'document.documentElement.scrollWidth - document.documentElement.clientWidth';
  const found = await page.evaluate(
    `({ wider: ${wider}, small: ${TOO_SMALL}, torn: ${TORN}, loose: ${LOOSE} })`,
  );
  expect({ view, ...(found as object) }).toEqual({ view, wider: 0, small: [], torn: [], loose: [] });
}
