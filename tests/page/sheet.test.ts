/** The sheet of the last 24 hours, on screen and on paper. */
import { mkdirSync } from 'node:fs';
import { afterAll, beforeAll, expect, test } from 'vitest';
import type { TestDrain } from '../http/messages.ts';
import { describeInBrowser, openWard, picture, plotsDrawn, type Ward } from './browser.ts';
import { chartedDrain } from './seed.ts';

describeInBrowser('the sheet of 24 hours', () => {
  let ward: Ward;
  let drain: TestDrain;
  beforeAll(async () => {
    ward = await openWard();
    drain = await chartedDrain(ward, 'sheet');
  });
  afterAll(() => ward.close());

  test('has hours, chart, plots and cautions, and prints without controls', async () => {
    const page = await ward.open(`/#/drain/${drain.drain}`);
    await page.getByRole('link', { name: '24 h sheet' }).click();
    await page.getByRole('heading', { name: '24 h sheet: Left pleural, A' }).waitFor();
    await plotsDrawn(page);
    await picture(page, 'sheet');
    await page.emulateMedia({ media: 'print', colorScheme: 'dark' });
    expect(await page.getByRole('button', { name: 'Print' }).isVisible()).toBe(false);
    expect(await page.getByRole('navigation').isVisible()).toBe(false);
    expect(
      await page.getByText('Not an alarm and not a medical device.', { exact: false }).first().isVisible(),
    ).toBe(true);
    expect(await page.getByText('Patient/sheet', { exact: false }).isVisible()).toBe(true);
    // Black on white, whatever the screen is like.
    expect(await page.evaluate('getComputedStyle(document.body).backgroundColor')).toBe('rgb(255, 255, 255)');
    expect(await page.evaluate('getComputedStyle(document.body).color')).toBe('rgb(0, 0, 0)');
    // Paper does not scroll: a cell that would stay in view is painted over the lines of its table.
    expect(await page.evaluate("getComputedStyle(document.querySelector('.scroll th')).position")).toBe(
      'static',
    );
    mkdirSync('reports/page', { recursive: true });
    const paper = await page.pdf({ path: 'reports/page/sheet.pdf', format: 'A4' });
    expect(paper.subarray(0, 5).toString()).toBe('%PDF-');
    expect(paper.toString('latin1').match(/\/Type \/Page\b/g)?.length).toBe(2);
    // What A4 leaves between margins of 12 mm, at 96 px an inch.
    await page.setViewportSize({ width: 703, height: 1032 });
    expect(await page.evaluate('document.documentElement.scrollWidth')).toBe(703);
  });

  test('tells hours that nothing covers as one line, with when they begin and end', async () => {
    const unread = await chartedDrain(ward, 'unread', 600);
    const page = await ward.open(`/#/drain/${unread.drain}/sheet`);
    const lines = page.getByRole('region', { name: 'Clock hours' }).locator('tbody tr');
    await lines.first().waitFor();
    // The last reading lies eleven hours back: the hour that it is in is covered in part, all after it by nothing.
    const without = lines.filter({ has: page.getByRole('cell', { name: '0 %', exact: true }) });
    expect(await without.filter({ hasText: /after the last level, so far$/ }).count()).toBe(1);
    expect(await lines.count()).toBeLessThan(8);
  });
});
