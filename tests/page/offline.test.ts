/** A reading that is entered while the service cannot be reached: kept, shown as not sent, and sent once. */
import type { Page } from 'playwright-core';
import { afterAll, beforeAll, expect, test } from 'vitest';
import type { TestDrain } from '../http/messages.ts';
import {
  behindWorker,
  describeInBrowser,
  field,
  keptIds,
  nameAuthor,
  openWard,
  picture,
  type Ward,
} from './browser.ts';
import { chartedDrain, entriesOf } from './seed.ts';

describeInBrowser('a reading while the service is away', () => {
  let ward: Ward;
  let page: Page;
  let drain: TestDrain;
  beforeAll(async () => {
    ward = await openWard();
    drain = await chartedDrain(ward, 'offline');
    page = await ward.open(`/#/drain/${drain.drain}/enter/reading`);
    await behindWorker(page);
  });
  afterAll(() => ward.close());

  const levels = async (): Promise<unknown[]> =>
    (await entriesOf(ward, drain)).map(({ body }) => body.level_ml).filter((level) => level !== undefined);
  const waitingIds = () => keptIds(page, 'waiting');
  const draftIds = () => keptIds(page, 'draft');

  test('is kept here, and shown as not yet sent', async () => {
    await field(page, 'level_ml').fill('175');
    await page.context().setOffline(true);
    await field(page, 'seal.level_cmh2o').fill('4');
    await page.getByText('No connection: what follows is worked out once the entry is sent.').waitFor();
    await page.getByRole('button', { name: 'Save' }).click();
    await nameAuthor(page);
    await page.getByText('1 not yet sent.', { exact: false }).waitFor();
    await page.getByText('Not yet sent: Reading, saved', { exact: false }).waitFor();
    await page.getByText('No connection. What is shown is of', { exact: false }).waitFor();
    await picture(page, 'offline');
    expect(await levels()).toEqual([120, 160]);
  });

  test('is not said to be unsent once it was sent', async () => {
    const other = await ward.open(`/#/drain/${drain.drain}/enter/weighed`);
    await field(other, 'weight_kg').fill('70');
    await other.context().setOffline(true);
    await other.getByRole('button', { name: 'Save' }).click();
    await nameAuthor(other);
    await other.getByText('1 not yet sent.', { exact: false }).waitFor();
    await other.context().setOffline(false);
    await other.getByText('Sent: Weight.', { exact: true }).waitFor();
    await expect.poll(() => other.getByText('not yet sent', { exact: false }).count()).toBe(0);
    await other.context().close();
  });

  test('outlives a page that closes, and what is being typed does too', async () => {
    const before = await waitingIds();
    await page.goto(`${ward.service.url}/#/drain/${drain.drain}/enter/reading`);
    await field(page, 'level_ml').fill('180');
    await expect.poll(draftIds).toHaveLength(1);
    await page.reload();
    await page.getByText('What was typed here before is back.', { exact: false }).waitFor();
    expect(await field(page, 'level_ml').inputValue()).toBe('180');
    await page.getByText('1 not yet sent.', { exact: false }).waitFor();
    expect(await waitingIds()).toEqual(before);
  });

  test('is sent under the identifier it was made with, once, when the service is back', async () => {
    const [key = ''] = await waitingIds();
    await page.context().setOffline(false);
    await expect.poll(waitingIds, { timeout: 15_000 }).toEqual([]);
    const sent = (await entriesOf(ward, drain)).filter(({ body }) => body.level_ml === 175);
    expect(sent).toHaveLength(1);
    expect(sent[0]?.body.identifier).toEqual({
      system: 'urn:drainledger:page',
      value: key.replace('waiting ', ''),
    });
    await page.getByText('Sent: Reading.', { exact: true }).waitFor();
    await expect.poll(() => page.getByText('not yet sent', { exact: false }).count()).toBe(0);
  });

  test('whose answer was lost is sent again, and is in the ledger once', async () => {
    await page.goto(`${ward.service.url}/#/drain/${drain.drain}/enter/reading`);
    await page.reload();
    await field(page, 'level_ml').fill('190');
    let answers = 0;
    await page.context().route('**/entries', async (route) => {
      const answer = await route.fetch();
      answers += 1;
      if (answers === 1) await route.abort();
      else await route.fulfill({ response: answer });
    });
    await page.getByRole('button', { name: 'Save' }).click();
    await page.getByText('1 not yet sent.', { exact: false }).waitFor();
    await expect.poll(waitingIds, { timeout: 15_000 }).toEqual([]);
    expect(answers).toBe(2);
    expect((await levels()).filter((level) => level === 190)).toHaveLength(1);
  });

  test('whose answer is slow is not sent a second time meanwhile', async () => {
    const slow = await ward.open(`/#/drain/${drain.drain}/enter/reading`);
    await field(slow, 'level_ml').fill('195');
    let sent = 0;
    await slow.context().route('**/entries', async (route) => {
      sent += 1;
      // Longer than it takes until what waits is tried again.
      await new Promise((resolve) => setTimeout(resolve, 6000));
      await route.continue();
    });
    await slow.getByRole('button', { name: 'Save' }).click();
    await nameAuthor(slow);
    // Of readings in one minute only the first has an interval that is told.
    await slow.getByText(/^Recorded/).waitFor();
    expect(sent).toBe(1);
    await slow.context().close();
  });

  test('leaves a view that nobody answered for, and that is shown by itself once somebody does', async () => {
    const fresh = await ward.open('/');
    await behindWorker(fresh);
    await fresh.getByRole('heading', { name: '1 open drain' }).waitFor();
    await fresh.context().setOffline(true);
    await fresh.getByText('Not connected: this may be old').waitFor();
    await fresh.getByRole('link', { name: 'Left pleural, A' }).click();
    await fresh.getByText('No connection. It is tried again by itself every few seconds.').waitFor();
    // A view that is kept up to date by nothing says nothing of a connection, and looks like nothing lost.
    const connection = fresh.locator('.connection');
    expect([await connection.textContent(), await connection.getAttribute('class')]).toEqual([
      '',
      'connection',
    ]);
    await fresh.context().setOffline(false);
    await fresh.getByRole('link', { name: 'Chart a reading' }).waitFor();
    await fresh.context().close();
  });
});
