/** What a nurse does on the page, from placing a drain to the evidence for its removal, in a real browser. */
import type { Page } from 'playwright-core';
import { afterAll, beforeAll, expect, test } from 'vitest';
import {
  choose,
  describeInBrowser,
  drainShown,
  field,
  minutesAgo,
  nameAuthor,
  openWard,
  picture,
  plotsDrawn,
  setTimeTo,
  type Ward,
} from './browser.ts';

describeInBrowser('from placing a drain to the evidence for its removal', () => {
  let ward: Ward;
  let page: Page;
  beforeAll(async () => {
    ward = await openWard();
    page = await ward.open('/');
  });
  afterAll(() => ward.close());

  const setTime = (minutes: number) => setTimeTo(page, minutesAgo(minutes));

  test('an empty ward says what to do, with the cautions', async () => {
    await page.getByText('No drain is open. Place one to begin.').waitFor();
    await page.getByText('Not an alarm and not a medical device.', { exact: false }).waitFor();
    await picture(page, 'empty');
  });

  test('a drain is placed, and its author named once', async () => {
    await page.getByRole('navigation').getByText('Place a drain').click();
    await page.getByRole('heading', { name: 'Place a drain' }).waitFor();
    await page.getByRole('button', { name: 'Save' }).click();
    await page.getByText('is needed').first().waitFor();
    // What is needed cannot be left out; what is not, can.
    expect(await page.getByLabel('Site').locator('option').first().textContent()).toBe('choose…');
    expect(await page.getByLabel('Drain placed for').locator('option').first().textContent()).toBe(
      'not charted',
    );
    await setTime(190);
    await page.getByLabel('Site').selectOption('pleural-left');
    await page.getByLabel('Tubes').fill('apical, basal');
    await choose(page, 'Patient is', 'adult');
    await page.getByLabel('Drain placed for').selectOption('thoracic-surgery');
    await page.getByLabel('Patient, by reference').fill('Patient/invented-7');
    await picture(page, 'place');
    await page.getByRole('button', { name: 'Save' }).click();
    await nameAuthor(page);
    await page.getByText('The drain is placed. Set up its unit next.').waitFor();
  });

  test('the unit is set up: what the form asks fits the unit', async () => {
    await setTime(185);
    await field(page, 'profile').selectOption('dry-2000');
    await page.getByLabel('Suction dial').waitFor();
    await field(page, 'profile').selectOption('wet-2000');
    await page.getByLabel('Suction column').fill('-20');
    await page.getByLabel('Level at the start').fill('0');
    await page.getByLabel('Seal filled to').fill('2');
    await choose(page, 'Suction', 'on');
    await choose(page, 'Bubbling in the suction chamber', 'gentle');
    expect(await page.getByLabel('Suction column').inputValue()).toBe('20');
    await picture(page, 'set-up');
    await page.getByRole('button', { name: 'Save' }).click();
    await page.getByText('Connections checked: missing').waitFor();
    await page.getByText('Seal filled: charted').waitFor();
  });

  test('a reading shows what follows before it is saved, and is charted in well under 20 s', async () => {
    await page.getByRole('link', { name: 'Chart a reading' }).click();
    await page.getByText('last 0,').waitFor();
    const started = Date.now();
    await setTime(125);
    await page.getByLabel('Level in the chamber').fill('40');
    await choose(page, 'Suction', 'on');
    await page.getByLabel('Suction column').fill('20');
    await choose(page, 'Bubbling in the suction chamber', 'gentle');
    await page.getByLabel('Seal level').fill('5');
    await choose(page, 'Swing', 'present');
    await choose(page, 'Air leak grade, of 5', '2');
    await page.getByText('net 40 ± 4.1 mL in 1 h, 40 ± 4.1 mL/h').waitFor();
    await page.getByText('total negativity 25 cmH2O below atmosphere').waitFor();
    await picture(page, 'reading');
    await page.getByRole('button', { name: 'Save' }).click();
    await page.getByText('Recorded: net 40 ± 4.1 mL in 1 h, 40 ± 4.1 mL/h.').waitFor();
    expect(Date.now() - started).toBeLessThan(20_000);
    const { rows } = await chartOf(ward, drainShown(page));
    expect(rows.at(-1)).toMatchObject({
      effective_at: minutesAgo(125).moment,
      author: { type: 'person', identifier: { system: 'urn:drainledger:staff', value: 'n-1042' } },
      charted: { level_ml: 40, suction: { source: 'on', column_cmh2o: 20, bubbling: 'gentle' } },
    });
  });

  test('a level below the last asks whether the unit was changed, and leads to that form', async () => {
    await page.getByRole('link', { name: 'Chart a reading' }).click();
    await setTime(65);
    await page.getByLabel('Level in the chamber').fill('28');
    await page.getByText('Level 12 mL below the last, 40 mL: unit changed?', { exact: false }).waitFor();
    await picture(page, 'fall');
    await page.getByRole('link', { name: 'Unit changed…' }).click();
    await page.getByRole('heading', { name: 'Unit changed' }).waitFor();
    await setTime(65);
    await page.getByLabel('Level of the old unit').fill('90');
    await field(page, 'profile').selectOption('wet-2000');
    await page.getByLabel('Level of the new unit').fill('0');
    await page.getByText('net 50 ± 4.1 mL in 1 h, 50 ± 4.1 mL/h').waitFor();
    await page.getByRole('button', { name: 'Save' }).click();
    await page.getByText('Recorded: net 50 ± 4.1 mL in 1 h, 50 ± 4.1 mL/h.').waitFor();
  });

  test('the advisory of the high negativity is reviewed in words', async () => {
    await page.getByText('Total negativity above 20 cm H2O').first().waitFor();
    await page.getByRole('link', { name: 'Review', exact: true }).first().click();
    // Above the words stands what they are about.
    await page.getByRole('heading', { name: 'Review of an advisory' }).waitFor();
    await page.locator('.notice').getByText('Total negativity above 20 cm H2O').waitFor();
    await page.locator('.notice').getByText('25 cmH2O, figure > 20 cmH2O', { exact: false }).waitFor();
    await picture(page, 'review');
    await page.getByLabel('What you saw and decided').fill('As ordered; seen on the round.');
    await page.getByRole('button', { name: 'Save' }).click();
    await page.getByText('by n-1042: As ordered; seen on the round.').waitFor();
  });

  test('the drain shows where it stands, its trends, its chart and the evidence for removal', async () => {
    await page.getByText('Evidence for removal').click();
    await page.getByLabel('Policy').selectOption('lobectomy-450-ml-2017');
    await page.getByText('Outstanding:').waitFor();
    await page.getByText('imaging, clinician').waitFor();
    await plotsDrawn(page);
    await picture(page, 'drain');
    await page.getByRole('link', { name: 'Drains' }).click();
    await page.getByRole('heading', { name: '1 open drain' }).waitFor();
    await page.getByText('Patient/invented-7').waitFor();
    await picture(page, 'overview');
  });
});

async function chartOf({ service }: Ward, drain: string): Promise<{ rows: readonly object[] }> {
  return JSON.parse((await service.send('GET', `/v1/drains/${drain}/chart`)).text);
}
