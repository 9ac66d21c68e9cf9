/** A full hourly reading as a ward charts it: how many keys it takes without a pointer, how many taps without scrolling. */
import type { Page } from 'playwright-core';
import { afterAll, beforeAll, expect, test } from 'vitest';
import type { TestDrain } from '../http/messages.ts';
import { describeInBrowser, field, nameAuthor, openWard, type Ward } from './browser.ts';
import { chartedDrain, entriesOf } from './seed.ts';

const READ = {
  level_ml: 180,
  suction: { source: 'on', column_cmh2o: 15, bubbling: 'gentle' },
  seal: { level_cmh2o: 4 },
  tidaling: 'present',
  air_leak: { grade: 1 },
};

describeInBrowser('a full hourly reading', () => {
  let ward: Ward;
  beforeAll(async () => {
    ward = await openWard();
  });
  afterAll(() => ward.close());

  /** The form of a drain of its own, by somebody who has charted before. */
  async function formOf(name: string, options: Parameters<Ward['open']>[1]): Promise<[Page, TestDrain]> {
    const drain = await chartedDrain(ward, name);
    const page = await ward.open(`/#/drain/${drain.drain}/enter/weighed`, options);
    await field(page, 'weight_kg').fill('70');
    await page.getByRole('button', { name: 'Save' }).click();
    await nameAuthor(page);
    await page.getByText('Recorded.').waitFor();
    return [page, drain];
  }

  async function expectCharted(page: Page, drain: TestDrain): Promise<void> {
    await page.getByText('Recorded: net 20 ± 4.1 mL', { exact: false }).waitFor();
    expect((await entriesOf(ward, drain)).at(-1)?.body).toMatchObject(READ);
  }

  test('takes thirty keys and no pointer', async () => {
    const [page, drain] = await formOf('keys', {});
    await page.getByRole('link', { name: 'Chart a reading' }).focus();
    let keys = 0;
    const press = async (...all: readonly string[]) => {
      for (const key of all) await page.keyboard.press(key);
      keys += all.length;
    };
    await press('Enter');
    await page.getByText('last 160,', { exact: false }).waitFor();
    // The time is that of now; past its clock, the three parts of its date and its calendar lies the level.
    await press('Tab', 'Tab', 'Tab', 'Tab', 'Tab', 'Tab', '1', '8', '0');
    await press('Tab', 'ArrowRight');
    await press('Tab', '1', '5');
    await press('Tab', 'ArrowRight', 'ArrowRight');
    await press('Tab', '4');
    await press('Tab', 'ArrowRight');
    await press('Tab', 'ArrowRight', 'ArrowRight');
    await press('Enter');
    await expectCharted(page, drain);
    expect(keys).toBeLessThanOrEqual(30);
  });

  test('takes nine taps and six digits on a tablet, and no scrolling', async () => {
    const [page, drain] = await formOf('taps', { viewport: { width: 820, height: 1180 }, hasTouch: true });
    await page.getByRole('link', { name: 'Chart a reading' }).tap();
    await page.getByText('last 160,', { exact: false }).waitFor();
    // Whatever is out of sight is scrolled to before it is tapped, which is seen at the end.
    for (const [path, digits] of [
      ['level_ml', '180'],
      ['suction.column_cmh2o', '15'],
      ['seal.level_cmh2o', '4'],
    ] as const) {
      await field(page, path).tap();
      await page.keyboard.type(digits);
    }
    for (const [group, words] of [
      ['Suction', 'on'],
      ['Bubbling in the suction chamber', 'gentle'],
      ['Swing', 'present'],
      ['Air leak grade, of 5', '1'],
    ] as const)
      await page
        .getByRole('group', { name: group, exact: true })
        .getByRole('radio', { name: words, exact: true })
        .tap();
    await page.getByText('total negativity 19 cmH2O below atmosphere').waitFor();
    await page.getByRole('button', { name: 'Save' }).tap({ trial: true });
    expect(await page.evaluate('scrollY')).toBe(0);
    await page.getByRole('button', { name: 'Save' }).tap();
    await expectCharted(page, drain);
  });
});
