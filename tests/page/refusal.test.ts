/** What the page says where the service refuses, and where it cannot be reached: two things that are not mistaken. */
import type { Page } from 'playwright-core';
import { afterAll, beforeAll, expect, test } from 'vitest';
import type { TestDrain } from '../http/messages.ts';
import { describeInBrowser, openWard, plotsDrawn, type Ward } from './browser.ts';
import { chartedDrain } from './seed.ts';

describeInBrowser('what cannot be shown', () => {
  let ward: Ward;
  let page: Page;
  let drain: TestDrain;
  beforeAll(async () => {
    ward = await openWard();
    drain = await chartedDrain(ward, 'refused');
    page = await ward.open(`/#/drain/${drain.drain}`);
    await plotsDrawn(page);
  });
  afterAll(() => ward.close());

  const noConnection = () => page.getByText('No connection', { exact: false });
  /** A policy that the service may not know. */
  const offer = async (id: string) => {
    await page.evaluate(`document.querySelector('#policy').append(new Option('${id}'))`);
    await page.locator('#policy').selectOption(id);
  };

  test('plots that the service does not draw are refused in its words', async () => {
    const most = 24 * 366;
    await page.evaluate(`sessionStorage.setItem('hours', '${most + 1}')`);
    await page.reload();
    await page.getByText('Plots cannot be drawn now.', { exact: false }).waitFor();
    await page.getByText(`${most}`, { exact: false }).waitFor();
    expect(await noConnection().count()).toBe(0);
    await page.getByRole('radio', { name: '12 h' }).check();
    await plotsDrawn(page);
    expect(await page.getByText('Plots cannot be drawn now.', { exact: false }).count()).toBe(0);
  });

  test('evidence that the service does not give is refused in its words', async () => {
    await page.getByText('Evidence for removal').click();
    await page.locator('#policy option').nth(1).waitFor({ state: 'attached' });
    await offer('no-such-policy');
    await page.getByText('?policy', { exact: false }).waitFor();
    expect(await noConnection().count()).toBe(0);
  });

  test('plots that have not changed are not sent again', async () => {
    const status = async () => {
      const again = page.waitForResponse((answer) => answer.url().includes('plot.svg'));
      await page.evaluate(`dispatchEvent(new StorageEvent('storage', { key: 'waiting 0' }))`);
      return (await again).status();
    };
    // A new minute makes a new picture: once at most.
    expect([await status(), await status()]).toContain(304);
    await plotsDrawn(page);
  });

  test('what another window keeps for itself draws nothing anew', async () => {
    const asked: string[] = [];
    page.on('request', (request) => asked.push(request.url()));
    await page.evaluate(`dispatchEvent(new StorageEvent('storage', { key: 'draft of another window' }))`);
    await page.evaluate(`dispatchEvent(new StorageEvent('storage', { key: 'waiting 1' }))`);
    await expect.poll(() => asked.filter((url) => url.endsWith('/state')).length).toBeGreaterThan(0);
    expect(asked.filter((url) => url.endsWith('/state'))).toHaveLength(1);
  });

  test('without a connection it says so, and keeps the plots that were drawn', async () => {
    await page.context().setOffline(true);
    await page.getByRole('radio', { name: '24 h' }).check();
    await page.getByText('Plots are as they were last drawn. No connection.').waitFor();
    await page.locator('#policy').selectOption('lobectomy-450-ml-2017');
    await page.getByText('No connection.', { exact: true }).waitFor();
  });

  test('a drain that does not exist is said not to, in words for a ward', async () => {
    const page = await ward.open('/#/drain/aaaaaaaaaaaaaaaa');
    await page.getByText('There is no such drain.').waitFor();
    expect(await page.getByRole('main').textContent()).not.toContain('POST');
  });
});
