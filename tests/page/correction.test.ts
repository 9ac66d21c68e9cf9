/** Correcting and withdrawing on the page: by a further entry with a reason, never by editing. */
import type { Page } from 'playwright-core';
import { afterAll, beforeAll, expect, test } from 'vitest';
import type { TestDrain } from '../http/messages.ts';
import { describeInBrowser, field, nameAuthor, openWard, picture, type Ward } from './browser.ts';
import { chartedDrain, entriesOf } from './seed.ts';

const FOCUSED = 'document.activeElement.name';

describeInBrowser('a misread level', () => {
  let ward: Ward;
  let page: Page;
  let drain: TestDrain;
  beforeAll(async () => {
    ward = await openWard();
    drain = await chartedDrain(ward, 'misread');
    page = await ward.open(`/#/drain/${drain.drain}`);
  });
  afterAll(() => ward.close());

  const rowWith = (words: string) => page.getByRole('row').filter({ hasText: words });

  test('is corrected with a reason, from what was charted, and what follows is shown before', async () => {
    await rowWith('160').first().getByRole('link', { name: 'Correct' }).click();
    await page.getByRole('heading', { name: 'Correct: reading' }).waitFor();
    expect(await field(page, 'level_ml').inputValue()).toBe('160');
    expect(await field(page, 'seal.level_cmh2o').inputValue()).toBe('4');
    await field(page, 'level_ml').fill('150.5');
    await page.getByText('net 10.5 ± 4.1 mL in 1 h, 10.5 ± 4.1 mL/h').waitFor();
    await picture(page, 'correction');
    await page.getByRole('button', { name: 'Save the correction' }).click();
    await page.getByText('is needed').waitFor();
    await field(page, 'reason').fill('read from the side');
    await page.getByRole('button', { name: 'Save the correction' }).click();
    await nameAuthor(page);
    await page.getByText('corrected: read from the side').waitFor();
    const newest = (await entriesOf(ward, drain)).at(-1)?.body;
    expect(newest).toMatchObject({
      kind: 'corrected',
      target: { value: 'misread-2' },
      reason: 'read from the side',
      replacement: { kind: 'reading', level_ml: 150.5, seal: { level_cmh2o: 4 }, tidaling: 'present' },
    });
  });

  test('is corrected once more, naming its newest form', async () => {
    await rowWith('read from the side').getByRole('link', { name: 'Correct' }).click();
    await field(page, 'level_ml').fill('155');
    await field(page, 'reason').fill('looked again');
    await page.getByRole('button', { name: 'Save the correction' }).click();
    await page.getByText('corrected: looked again').waitFor();
  });

  const open = (view = '') => page.goto(`${ward.service.url}/#/drain/${drain.drain}${view}`);
  const typedBefore = () => page.getByText('What was typed here before is back.', { exact: false });

  test('is corrected while a new reading is being typed, which stays as it was typed', async () => {
    await open('/enter/reading');
    await field(page, 'level_ml').fill('170');
    await expect.poll(() => page.evaluate(`Object.keys(localStorage).join()`)).toContain('draft');
    await open();
    await rowWith('looked again').getByRole('link', { name: 'Correct' }).click();
    await field(page, 'level_ml').fill('156');
    await field(page, 'reason').fill('and again');
    expect(await typedBefore().count()).toBe(0);
    await page.getByRole('button', { name: 'Save the correction' }).click();
    await page.getByText('corrected: and again').waitFor();
    await open('/enter/reading');
    await typedBefore().waitFor();
    expect(await field(page, 'level_ml').inputValue()).toBe('170');
  });

  test('why one entry is in error is not offered as why another is', async () => {
    await open();
    await rowWith('and again').getByRole('link', { name: 'In error' }).click();
    await field(page, 'reason').fill('another drain');
    await expect.poll(() => page.evaluate(`JSON.stringify(localStorage)`)).toContain('another drain');
    await open();
    await rowWith('Put in through the tube').getByRole('link', { name: 'In error' }).click();
    await page.getByText('This cannot be undone', { exact: false }).waitFor();
    expect(await field(page, 'reason').inputValue()).toBe('');
    await open();
    await rowWith('and again').getByRole('link', { name: 'In error' }).click();
    await typedBefore().waitFor();
    expect(await field(page, 'reason').inputValue()).toBe('another drain');
    await open();
  });

  test('is withdrawn as entered in error, which says that it cannot be undone', async () => {
    await rowWith('Put in through the tube').getByRole('link', { name: 'In error' }).click();
    await page.getByText('This cannot be undone', { exact: false }).waitFor();
    await field(page, 'reason').fill('another patient');
    await page.getByText('What it withdraws leaves the arithmetic.').waitFor();
    await picture(page, 'in-error');
    await page.getByRole('button', { name: 'Save' }).click();
    await page.getByRole('heading', { name: 'Chart of the last 3 days' }).waitFor();
    const row = rowWith('Put in through the tube');
    await row.getByText(/^entered in error: another patient; withdrawn \d\d:\d\d by n-1042$/).waitFor();
    expect(await row.locator('s').allTextContents()).toContain('Put in through the tube 20 mL: flush');
    expect(await row.getByRole('link').count()).toBe(0);
    // It counts no more: nothing was put in, and what drained is net.
    await page.getByText('in all 156 ± 4.1 mL since placement').waitFor();
    await picture(page, 'withdrawn');
    await page.getByRole('link', { name: '24 h sheet' }).click();
    await page.getByRole('heading', { name: '24 h sheet' }).waitFor();
    expect(await row.locator('s').count()).toBeGreaterThan(0);
    await open();
    await page.getByRole('heading', { name: 'Chart of the last 3 days' }).waitFor();
    expect((await entriesOf(ward, drain)).at(-1)?.body).toMatchObject({
      kind: 'entered-in-error',
      target: { value: 'misread-flush' },
    });
  });

  test('what was put in is not told as what was last taken out', async () => {
    const flushed = await chartedDrain(ward, 'flushed');
    const hint = async (kind: string) => {
      await page.goto(`${ward.service.url}/#/drain/${flushed.drain}/enter/${kind}`);
      await page.getByRole('heading', { name: kind === 'sampled' ? 'Sample taken' : 'Put in' }).waitFor();
      return page.getByText(/^last 20,/).count();
    };
    expect([await hint('instilled'), await hint('sampled')]).toEqual([1, 0]);
  });

  test('an entry of long ago is found in the whole chart', async () => {
    const old = await chartedDrain(ward, 'long-ago', 5 * 24 * 60);
    const reader = await ward.open(`/#/drain/${old.drain}`);
    await reader.getByRole('heading', { name: 'Chart of the last 3 days' }).waitFor();
    expect(await reader.getByRole('row').count()).toBe(1);
    await reader.getByRole('button', { name: 'Show all since placement' }).click();
    const row = reader.getByRole('row').filter({ hasText: '160' }).first();
    await row.getByRole('link', { name: 'Correct' }).click();
    await reader.getByRole('heading', { name: 'Correct: reading' }).waitFor();
    expect(await field(reader, 'level_ml').inputValue()).toBe('160');
  });

  test('an entry that the service does not take says why at its field, and can be mended', async () => {
    await page.goto(`${ward.service.url}/#/drain/${drain.drain}/enter/weighed`);
    await field(page, 'weight_kg').fill('0.05');
    await page.getByRole('button', { name: 'Save' }).click();
    await page.getByText('0.05 kg is not a body weight: enter kg, 0.1 or more').waitFor();
    await page.getByText('Not saved: the service does not take this entry as it is.').waitFor();
    expect(await page.evaluate(FOCUSED)).toBe('weight_kg');
    await picture(page, 'refused');
    await field(page, 'weight_kg').fill('70');
    await page.getByRole('button', { name: 'Save' }).click();
    await page.getByText('Weight 70 kg').waitFor();
    expect(await page.getByText('Not taken').count()).toBe(0);
  });

  test('a value out of bounds is told by the label of its field, which is unfolded and gets the focus', async () => {
    await page.goto(`${ward.service.url}/#/drain/${drain.drain}/enter/reading`);
    await page.getByText('More to chart').click();
    await field(page, 'suction.ordered_cmh2o').fill('2000');
    // Before it is saved already.
    await page
      .getByRole('region', { name: 'Before you save' })
      .getByText('Suction ordered: 2000 cmH2O is over 1000: enter at most 1000')
      .waitFor();
    await page.getByText('More to chart').click();
    await page.getByRole('button', { name: 'Save' }).click();
    await page.getByText('2000 cmH2O is over 1000: enter at most 1000', { exact: true }).waitFor();
    expect(await page.evaluate(FOCUSED)).toBe('suction.ordered_cmh2o');
    await page
      .getByRole('link', { name: 'Cancel' })
      .or(page.getByRole('button', { name: 'Cancel' }))
      .click();
    await page.getByText('Suction ordered: 2000 cmH2O is over 1000: enter at most 1000').waitFor();
    await page.getByRole('link', { name: 'Mend it' }).first().click();
    await page.locator('.notice').getByText('Suction ordered: 2000 cmH2O').waitFor();
    await picture(page, 'refused-held');
    expect(await page.locator('body').textContent()).not.toMatch(/ordered_cmh2o|\/suction/);
    await field(page, 'suction.ordered_cmh2o').fill('20');
    await page.getByRole('button', { name: 'Save' }).click();
    await page.getByRole('heading', { name: 'Chart of the last 3 days' }).waitFor();
    expect(await page.getByText('Not taken').count()).toBe(0);
  });
});
