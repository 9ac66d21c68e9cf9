/** A placement that the service refuses after it waited: it can be mended under its own identifier, and let go. */
import type { Page } from 'playwright-core';
import { afterAll, beforeAll, expect, test } from 'vitest';
import {
  behindWorker,
  describeInBrowser,
  drainShown,
  field,
  keptIds,
  minutesAgo,
  nameAuthor,
  openWard,
  picture,
  setTimeTo,
  type Ward,
} from './browser.ts';
import { entriesOf } from './seed.ts';

describeInBrowser('a placement that was kept while the service was away, and is refused', () => {
  let ward: Ward;
  let page: Page;
  beforeAll(async () => {
    ward = await openWard();
    page = await ward.open('/#/place');
    await behindWorker(page);
    await page.getByRole('heading', { name: 'Place a drain' }).waitFor();
  });
  afterAll(() => ward.close());

  /** By a clock that is an hour ahead, which the service does not take. */
  async function placeAhead(): Promise<void> {
    await page.context().setOffline(true);
    await page.evaluate("location.hash = '#/place'");
    await setTimeTo(page, minutesAgo(-60));
    await page.getByLabel('Site').selectOption('pleural-right');
    await page.getByLabel('Tubes').fill('apical, basal');
    await page.getByRole('button', { name: 'Save' }).click();
  }

  async function comeBack(): Promise<void> {
    await page.getByText('1 not yet sent.', { exact: false }).waitFor();
    await page.context().setOffline(false);
    await page.getByRole('link', { name: 'Mend it' }).click();
    await page.getByRole('heading', { name: 'Not taken: Drain placed' }).waitFor();
  }

  test('is mended with what was typed, under the identifier it was made with', async () => {
    await placeAhead();
    await nameAuthor(page);
    await comeBack();
    const [key = ''] = await keptIds(page, 'waiting');
    expect(await page.getByLabel('Site').inputValue()).toBe('pleural-right');
    expect(await page.getByLabel('Tubes').inputValue()).toBe('apical, basal');
    await picture(page, 'placement-refused');
    await setTimeTo(page, minutesAgo(5));
    await page.getByRole('button', { name: 'Save' }).click();
    await page.getByText('The drain is placed. Set up its unit next.').waitFor();
    await page.getByRole('heading', { name: 'Unit set up' }).waitFor();
    expect(await keptIds(page, 'waiting')).toEqual([]);
    const entries = await entriesOf(ward, { drain: drainShown(page) });
    expect(entries).toHaveLength(1);
    expect(entries[0]?.body).toMatchObject({
      ...{ site: 'pleural-right', tubes: ['apical', 'basal'], effective_at: minutesAgo(5).moment },
      identifier: { value: key.replace('waiting ', '') },
    });
    expect(await field(page, 'profile').count()).toBe(1);
  });

  test('is discarded, though an earlier page kept it, and leads to the overview', async () => {
    await placeAhead();
    await page.getByText('1 not yet sent.', { exact: false }).waitFor();
    const [key = ''] = await keptIds(page, 'waiting');
    await page.evaluate(`localStorage.setItem('${key}', JSON.stringify({
      ...JSON.parse(localStorage.getItem('${key}')), drain: '' }))`);
    await comeBack();
    page.once('dialog', (dialog) => void dialog.accept());
    await page.getByRole('button', { name: 'Discard this entry' }).click();
    await page.getByRole('heading', { name: '1 open drain' }).waitFor();
    expect(new URL(page.url()).hash).toBe('#/');
    expect(await keptIds(page, 'waiting')).toEqual([]);
  });
});
