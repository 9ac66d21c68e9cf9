/** The page where the service asks who comes: it asks the person, once, and goes on. */
import type { Page } from 'playwright-core';
import { afterAll, beforeAll, expect, test, vi } from 'vitest';
import { type Guarded, startGuarded } from '../http/access-control.ts';
import { placement, setUp } from '../http/messages.ts';
import {
  describeInBrowser,
  field,
  minutesAgo,
  nameAuthor,
  openWard,
  picture,
  plotsDrawn,
  type Ward,
} from './browser.ts';

describeInBrowser('a service that asks who comes', () => {
  let guarded: Guarded;
  let ward: Ward;
  let page: Page;
  let key: string;
  beforeAll(async () => {
    guarded = await startGuarded();
    ward = await openWard(guarded.service);
    const token = await guarded.token({ scope: 'system/*.cruds' });
    const { text } = await guarded.send(
      token,
      'POST',
      '/v1/drains',
      placement('guarded', minutesAgo(90).moment),
    );
    const { drain } = JSON.parse(text);
    await guarded.send(
      token,
      'POST',
      `/v1/drains/${drain}/entries`,
      setUp('guarded-up', minutesAgo(90).moment, 0),
    );
    key = guarded.key('system/*.cruds');
    const isKnown = async () => (await guarded.send(key, 'GET', '/v1/drains')).status === 200;
    await vi.waitUntil(isKnown, { timeout: 5000 });
    page = await ward.open('/');
  });
  afterAll(async () => {
    await ward.close();
    await guarded.stop();
  });

  test('asks for a token, once, and shows the ward', async () => {
    const asked = page.getByLabel('Access token or key');
    await asked.waitFor();
    expect(await asked.getAttribute('type')).toBe('password');
    await picture(page, 'token');
    await asked.fill(key);
    await page.getByRole('button', { name: 'Go on' }).click();
    await page.getByRole('heading', { name: '1 open drain' }).waitFor();
    await page.getByText('Up to date').waitFor();
    expect(await asked.count()).toBe(0);
  });

  test('charts, draws and keeps up to date with it', async () => {
    await page.getByRole('link', { name: 'Chart a reading' }).click();
    await field(page, 'level_ml').fill('90');
    await page.getByText('net 90 ± 4.1 mL', { exact: false }).waitFor();
    await page.getByRole('button', { name: 'Save' }).click();
    await nameAuthor(page);
    await page.getByText('Recorded: net 90', { exact: false }).waitFor();
    await plotsDrawn(page);
    await page.getByText('Up to date').waitFor();
  });

  test('keeps the token out of the address and out of what outlives the tab', async () => {
    expect(page.url()).not.toContain(key);
    expect(await page.evaluate('JSON.stringify(localStorage)')).not.toContain(key);
    expect(guarded.service.log()).not.toContain(key);
  });
});
