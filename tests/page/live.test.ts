/** What one nurse charts, another sees without asking; and a page that lost the service says that it may be old. */
import { afterAll, beforeAll, expect, test } from 'vitest';
import { level, type TestDrain, tell } from '../http/messages.ts';
import {
  describeInBrowser,
  field,
  minutesAgo,
  nameAuthor,
  openWard,
  setTimeTo,
  type Ward,
} from './browser.ts';
import { chartedDrain } from './seed.ts';

const SOON_MS = 5000;

describeInBrowser('two browsers on one ward', () => {
  let ward: Ward;
  let drain: TestDrain;
  beforeAll(async () => {
    ward = await openWard();
    drain = await chartedDrain(ward, 'live');
  });
  afterAll(() => ward.close());

  test('what one charts, the other sees at once, on the drain and in the overview', async () => {
    const [writer, reader, overview] = await Promise.all([
      ward.open(`/#/drain/${drain.drain}/enter/reading`),
      ward.open(`/#/drain/${drain.drain}`),
      ward.open('/#/'),
    ]);
    await reader.getByText('Up to date').waitFor();
    await overview.getByText('Up to date').waitFor();
    const plot = () => reader.locator('img.plot').getAttribute('src');
    const before = await plot();
    await setTimeTo(writer, minutesAgo(0));
    await field(writer, 'level_ml').fill('245');
    await writer.getByRole('button', { name: 'Save' }).click();
    await nameAuthor(writer);
    await writer.getByText('Recorded: net 85', { exact: false }).waitFor();
    await reader.getByText('245 of 2000 mL').waitFor({ timeout: SOON_MS });
    await overview.getByText('245 of 2000 mL').waitFor({ timeout: SOON_MS });
    await expect.poll(plot, { timeout: SOON_MS }).not.toBe(before);
  });

  test('an update takes neither the focus nor what is open', async () => {
    const reader = await ward.open(`/#/drain/${drain.drain}`);
    await reader.getByText('Up to date').waitFor();
    await reader.getByText('Chart an event').click();
    await reader.getByRole('link', { name: 'Weight' }).focus();
    await tell(drain, level('live-3', minutesAgo(30).moment, 200));
    await reader.getByRole('row').filter({ hasText: '200' }).first().waitFor({ timeout: SOON_MS });
    expect(await reader.evaluate('document.activeElement.textContent')).toBe('Weight');
    expect(await reader.getByRole('link', { name: 'Weight' }).isVisible()).toBe(true);
  });

  test('plots that are slow take no focus from who works already', async () => {
    const reader = await ward.open('/#/place');
    let answer = (): void => undefined;
    const isAnswered = new Promise<void>((resolve) => {
      answer = resolve;
    });
    await reader.route('**/plot.svg*', async (route) => {
      await isAnswered;
      await route.continue();
    });
    await reader.evaluate(`location.hash = '#/drain/${drain.drain}'`);
    await reader.getByRole('link', { name: 'Chart a reading' }).focus();
    answer();
    await reader.locator('img.plot').waitFor();
    expect(await reader.evaluate('document.activeElement.textContent')).toBe('Chart a reading');
  });

  test('a view that is left before it is drawn listens to nothing', async () => {
    const reader = await ward.open('/#/place');
    const asked: string[] = [];
    reader.on('request', (request) => asked.push(new URL(request.url()).pathname));
    await reader.route('**/chart*', async (route) => {
      await new Promise((resolve) => setTimeout(resolve, 600));
      await route.continue();
    });
    const [isAsked, isAnswered] = [reader.waitForRequest('**/chart*'), reader.waitForResponse('**/chart*')];
    await reader.evaluate(`location.hash = '#/drain/${drain.drain}'`);
    await isAsked;
    await reader.evaluate("location.hash = '#/place'");
    await reader.getByRole('heading', { name: 'Place a drain' }).waitFor();
    await isAnswered;
    await new Promise((resolve) => setTimeout(resolve, 500));
    expect(asked.filter((path) => path.endsWith('/live'))).toEqual([]);
  });

  test('a page that lost the service says so, and catches up when it is back', async () => {
    const reader = await ward.open(`/#/drain/${drain.drain}`);
    await reader.getByText('Up to date').waitFor();
    let isAway = true;
    await reader.context().route('**/v1/**', (route) => (isAway ? route.abort() : route.continue()));
    // A stream that is open already ends with its browser's network.
    await reader.context().setOffline(true);
    await reader.getByText('Not connected: this may be old').waitFor();
    await tell(drain, level('live-4', minutesAgo(15).moment, 210));
    isAway = false;
    await reader.context().setOffline(false);
    await reader.getByRole('row').filter({ hasText: '210' }).first().waitFor();
    await reader.getByText('Up to date').waitFor();
  });
});
