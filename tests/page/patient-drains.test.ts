/** A patient with several drains: from the page of one it is a step to the next, and none of another patient is among them. */
import { afterAll, beforeAll, expect, test } from 'vitest';
import { entry, placeDrain, tell } from '../http/messages.ts';
import { describeInBrowser, minutesAgo, openWard, picture, plotsDrawn, type Ward } from './browser.ts';

describeInBrowser('a patient with three drains', () => {
  let ward: Ward;
  beforeAll(async () => {
    ward = await openWard();
  });
  afterAll(() => ward.close());

  test('reaches each from the page of another', async () => {
    const { moment } = minutesAgo(120);
    const patient = { reference: 'Patient/three' };
    const place = (key: string, more: object) => placeDrain(ward.service, key, moment, { patient, ...more });
    const first = await place('first', { tubes: ['A'] });
    await place('second', { site: 'pleural-right', tubes: ['B'] });
    const out = await place('third', { site: 'mediastinal', tubes: ['C', 'D'] });
    await tell(out, entry('third-out', 'removed', minutesAgo(30).moment));
    await placeDrain(ward.service, 'of-another', moment, { patient: { reference: 'Patient/other' } });

    const page = await ward.open(`/#/drain/${first.drain}`);
    const others = page.getByRole('navigation', { name: 'Other drains of this patient' });
    await others.waitFor();
    expect((await others.getByRole('link').allTextContents()).sort()).toEqual([
      'Mediastinal, C and D (out)',
      'Right pleural, B',
    ]);
    await plotsDrawn(page);
    await picture(page, 'patient-drains');
    await others.getByRole('link', { name: 'Right pleural, B' }).click();
    await page.getByRole('heading', { name: 'Right pleural, B' }).waitFor();
    await others.getByRole('link', { name: 'Left pleural, A' }).waitFor();
  });

  test('is alone where nobody is linked', async () => {
    const lone = await placeDrain(ward.service, 'lone', minutesAgo(60).moment);
    const page = await ward.open(`/#/drain/${lone.drain}`);
    await page.getByRole('link', { name: 'Chart a reading' }).waitFor();
    expect(await page.getByRole('navigation', { name: 'Other drains of this patient' }).count()).toBe(0);
  });
});
