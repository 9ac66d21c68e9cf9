/** Two windows of one browser: what one has saved the other does not offer as if nobody had. */
import type { Page } from 'playwright-core';
import { afterAll, beforeAll, expect, test } from 'vitest';
import type { TestDrain } from '../http/messages.ts';
import { describeInBrowser, field, keptIds, nameAuthor, openWard, type Ward } from './browser.ts';
import { chartedDrain, entriesOf } from './seed.ts';

describeInBrowser('two windows of one browser', () => {
  let ward: Ward;
  let drain: TestDrain;
  let first: Page;
  let second: Page;
  beforeAll(async () => {
    ward = await openWard();
    drain = await chartedDrain(ward, 'windows');
    first = await ward.open(`/#/drain/${drain.drain}/enter/reading`);
    second = await first.context().newPage();
  });
  afterAll(() => ward.close());

  test('that hold the same draft are told when the other has saved it', async () => {
    await field(first, 'level_ml').fill('180');
    await expect.poll(() => keptIds(first, 'draft')).toHaveLength(1);
    await second.goto(`${ward.service.url}/#/drain/${drain.drain}/enter/reading`);
    await second.getByText('What was typed here before is back.', { exact: false }).waitFor();
    await first.getByRole('button', { name: 'Save' }).click();
    await nameAuthor(first);
    await first.getByText('Recorded:', { exact: false }).waitFor();
    await second.getByText('Saved or cleared in another window', { exact: false }).waitFor();
  });

  test('send an entry that waits once', async () => {
    await first.goto(`${ward.service.url}/#/drain/${drain.drain}/enter/weighed`);
    await field(first, 'weight_kg').fill('71');
    await first.context().setOffline(true);
    await first.getByRole('button', { name: 'Save' }).click();
    await second.getByText('1 not yet sent.', { exact: false }).waitFor();
    await first.context().setOffline(false);
    await expect.poll(() => keptIds(first, 'waiting'), { timeout: 15_000 }).toEqual([]);
    await second.getByText('not yet sent', { exact: false }).waitFor({ state: 'detached' });
    const sent = (await entriesOf(ward, drain)).filter(({ body }) => body.weight_kg === 71);
    expect(sent).toHaveLength(1);
  });
});
