/** A device whose clock is wrong charts by the clock of the service, and says that it does. */
import { afterAll, beforeAll, expect, test } from 'vitest';
import { describeInBrowser, field, nameAuthor, openWard, picture, type Ward } from './browser.ts';
import { chartedDrain, entriesOf } from './seed.ts';

const MINUTE_MS = 60_000;

describeInBrowser('a device whose clock is wrong', () => {
  let ward: Ward;
  beforeAll(async () => {
    ward = await openWard();
  });
  afterAll(() => ward.close());

  test.each([
    ['ahead', 10, 201],
    ['behind', -10, 202],
  ])('by ten minutes %s', async (where, minutes, level) => {
    const drain = await chartedDrain(ward, where);
    const page = await ward.open('/reference');
    await page.addInitScript(
      `{ const { now } = Date; Date.now = () => now.call(Date) + ${minutes * MINUTE_MS}; }`,
    );
    await page.goto(`${ward.service.url}/#/drain/${drain.drain}`);
    const notice = page.getByText(
      `The clock of this device is 10 min ${where}. Times here are those of the service.`,
    );
    await notice.waitFor();
    await page.getByText('Last read 1 h', { exact: false }).waitFor();
    await page.getByRole('link', { name: 'Chart a reading' }).click();
    await page.getByText('last 160, 1 h', { exact: false }).waitFor();
    await field(page, 'level_ml').fill(String(level));
    if (minutes > 0) await picture(page, 'clock');
    await page.getByRole('button', { name: 'Save' }).click();
    await nameAuthor(page);
    await page.getByText('Recorded:', { exact: false }).waitFor();
    const sent = (await entriesOf(ward, drain)).find(({ body }) => body.level_ml === level)?.body;
    expect(Math.abs(Date.parse(String(sent?.effective_at)) - Date.now())).toBeLessThan(2 * MINUTE_MS);
    // By this clock too while the service is away.
    await page.context().setOffline(true);
    await page.goto(`${ward.service.url}/#/drain/${drain.drain}/enter/weighed`);
    await notice.waitFor();
    await page.context().close();
  });

  test('a clock that is right is not spoken of', async () => {
    const page = await ward.open('/#/');
    await page.getByText('Up to date').waitFor();
    expect(await page.getByText('clock of this device').count()).toBe(0);
  });
});
