/** A volume that is a bound, in doubt or not known never looks like an exact one, wherever it stands. */
import type { Page } from 'playwright-core';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { entry, level, placeDrain, setUp, type TestDrain, tell } from '../http/messages.ts';
import { describeInBrowser, minutesAgo, openWard, picture, plotsDrawn, type Ward } from './browser.ts';

const PHONE = { width: 390, height: 800 };
const FALL = 'the level fell and nothing charted explains it';

describeInBrowser('a drain that lost a closing level, and a drain whose level fell', () => {
  let ward: Ward;
  let lost: TestDrain;
  let fallen: TestDrain;
  // On the hour, what was drained between two readings would fill clock hours exactly, and none would be 'at least'.
  const offHour = new Date().getUTCMinutes() < 5 ? 10 : 0;
  const ago = (minutes: number): string => minutesAgo(minutes + offHour).moment;
  beforeAll(async () => {
    ward = await openWard();
    lost = await placeDrain(ward.service, 'lost', ago(240));
    await tell(
      lost,
      setUp('lost-up', ago(240), 0),
      level('lost-1', ago(180), 120, {
        seal: { level_cmh2o: 4 },
        suction: { source: 'on', column_cmh2o: 15 },
      }),
      entry('lost-new', 'unit-changed', ago(120), { profile: 'wet-2000', opening_level_ml: 0 }),
      level('lost-2', ago(110), 60),
    );
    fallen = await placeDrain(ward.service, 'fallen', ago(240));
    await tell(
      fallen,
      setUp('fallen-up', ago(240), 0),
      level('fallen-1', ago(180), 300),
      level('fallen-2', ago(120), 30),
    );
  });
  afterAll(() => ward.close());

  const cellsOf = (page: Page): Promise<string[][]> =>
    page.evaluate(`[...document.querySelectorAll('[aria-label=Chart] tbody tr')].map((row) =>
      [...row.querySelectorAll('.figure')].slice(1, 5).map((cell) => cell.textContent))`);

  const LOST = [
    ['at least 60 ± 4.1', 'no rate, the volume is not known', 'at least 180 ± 5.8', ''],
    ['', '', '', ''],
    ['120 ± 4.1', '120 ± 4.1', '120 ± 4.1', '4 to 19, not proven: bubbling not charted'],
    ['', '', '', ''],
    ['', '', '', ''],
  ];
  const FALLEN = [
    [
      `not known: ${FALL}`,
      'no rate, the volume is not known',
      `(0) no total: a later fall contradicts the rise, ${FALL}`,
      '',
    ],
    [
      '300 ± 6.5; in doubt, as a later fall contradicts it',
      '300 ± 6.5',
      '(0) no total: a later fall contradicts the rise',
      '',
    ],
    ['', '', '', ''],
    ['', '', '', ''],
  ];

  test.each([
    ['the chart', ''],
    ['the sheet', '/sheet'],
  ])('%s says so in its cells', async (_, view) => {
    for (const [drain, expected] of [
      [lost, LOST],
      [fallen, FALLEN],
    ] as const) {
      const page = await ward.open(`/#/drain/${drain.drain}${view}`);
      await page.getByRole('region', { name: 'Chart', exact: true }).waitFor();
      expect(await cellsOf(page)).toEqual(expected);
      await plotsDrawn(page);
      const name = `amounts-${drain === lost ? 'lost' : 'fallen'}${view.replace('/', '-')}`;
      await picture(page, name);
      if (view !== '') await page.pdf({ path: `reports/page/${name}.pdf`, format: 'A4' });
      await page.setViewportSize(PHONE);
      // The page itself never scrolls sideways: the table does, in its region.
      expect(await page.evaluate('document.documentElement.scrollWidth')).toBe(PHONE.width);
      await page.screenshot({ path: `reports/page/${name}-phone.png`, fullPage: true });
    }
  });

  test('the overview and the clock hours of the sheet do too', async () => {
    const overview = await ward.open('/#/');
    const card = (drain: TestDrain) => overview.locator(`li[aria-labelledby="drain-${drain.drain}"]`);
    await card(lost).getByText('at least 60 ± 4.1 mL', { exact: true }).waitFor();
    await card(fallen).getByText(`not known: ${FALL}`, { exact: true }).waitFor();
    const sheet = await ward.open(`/#/drain/${lost.drain}/sheet`);
    await sheet.getByRole('region', { name: 'Clock hours' }).getByText('at least').first().waitFor();
  });

  test('the evidence for removal shows the error of its volumes', async () => {
    const page = await ward.open(`/#/drain/${lost.drain}`);
    await page.getByText('Evidence for removal').click();
    await page.getByLabel('Policy').selectOption('lobectomy-450-ml-2017');
    await page
      .getByText('net at least 180 ± 5.8 mL, drained and sampled at least 180 ± 5.8 mL in 24 h')
      .waitFor();
  });
});
