/** The API reference as a page: every operation is there, and its examples run. */
import type { Page } from 'playwright-core';
import { afterAll, beforeAll, expect, test } from 'vitest';
import type { TestDrain } from '../http/messages.ts';
import { describeInBrowser, openWard, picture, type Ward } from './browser.ts';
import { chartedDrain, entriesOf } from './seed.ts';

interface Loaded {
  decode(): Promise<void>;
  readonly naturalWidth: number;
}
async function imageWidth(element: unknown): Promise<number> {
  await (element as Loaded).decode();
  return (element as Loaded).naturalWidth;
}

describeInBrowser('the API reference', () => {
  let ward: Ward;
  let page: Page;
  let drain: TestDrain;
  beforeAll(async () => {
    ward = await openWard();
    drain = await chartedDrain(ward, 'reference');
    page = await ward.open('/reference');
    await page.getByRole('heading', { name: 'Schemas' }).waitFor();
  });
  afterAll(() => ward.close());

  const run = async (operation: string): Promise<string> => {
    const details = page.locator(`#${operation}`);
    await details.locator('summary').first().click();
    await details.getByRole('button', { name: 'Run' }).click();
    const answer = details.locator('[aria-live]');
    await answer.locator('strong').waitFor();
    return (await answer.textContent()) ?? '';
  };

  test('names every operation and every schema of the document', async () => {
    const { paths, components } = ward.service.document;
    const operations = Object.values(paths).flatMap((methods) => Object.keys(methods));
    expect(await page.locator('details[id]').count()).toBe(
      operations.length + Object.keys(components.schemas).length,
    );
    await picture(page, 'reference');
  });

  test.each(['drains', 'chart', 'state', 'trends', 'overview', 'removalEvidence', 'plot', 'drainAdvisories'])(
    'the example of %s runs',
    async (operation) => {
      expect(await run(operation)).toMatch(/^200 /);
    },
  );

  test('names of fields are set as code, in every operation', async () => {
    await page.evaluate(
      "for (const each of document.querySelectorAll('details.operation')) each.open = true",
    );
    await page.locator('#trends p code').getByText('format=csv').waitFor();
    for (const words of await page.locator('.operation p, .operation td, .operation li').allTextContents())
      expect(words).not.toContain('`');
    await page.evaluate(
      "for (const each of document.querySelectorAll('details.operation')) each.open = false",
    );
  });

  test('a parameter says where it goes and how large it may be', async () => {
    const parameters = page.locator('#patientTrends');
    await parameters.locator('summary').first().click();
    expect(await parameters.getByRole('row', { name: /^last_h / }).textContent()).toContain(
      'integer, 1 to 8784',
    );
    expect(await parameters.getByRole('row', { name: /^If-None-Match / }).textContent()).toContain('header');
  });

  test('the example of a picture shows it', async () => {
    expect(await run('plotPicture')).toMatch(/^200 image\/png/);
    const image = page.locator('#plotPicture img');
    expect(await image.evaluate(imageWidth)).toBe(900);
  });

  test('the example of an entry is a dry run, and writes nothing', async () => {
    const before = (await entriesOf(ward, drain)).length;
    expect(await run('enter')).toContain('"dry_run": true');
    expect((await entriesOf(ward, drain)).length).toBe(before);
  });

  test('what would write, or never ends, is not run from here', async () => {
    for (const operation of ['placeDrain', 'drainLive']) {
      await page.locator(`#${operation} summary`).first().click();
      await page.locator(`#${operation}`).getByText('Not run from here', { exact: false }).waitFor();
      expect(await page.locator(`#${operation}`).getByRole('button', { name: 'Run' }).count()).toBe(0);
    }
  });
});
