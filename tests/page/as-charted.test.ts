/** What was charted is shown as it was written, on the view and in the forms; and a drain that is out can still be charted late. */
import type { Page } from 'playwright-core';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { entry, level, placeDrain, setUp, type TestDrain, tell } from '../http/messages.ts';
import {
  describeInBrowser,
  field,
  minutesAgo,
  nameAuthor,
  openWard,
  picture,
  setTimeTo,
  type Ward,
} from './browser.ts';
import { entriesOf } from './seed.ts';

const ago = (minutes: number): string => minutesAgo(minutes).moment;

describeInBrowser('what was charted', () => {
  let ward: Ward;
  let page: Page;
  let drain: TestDrain;
  beforeAll(async () => {
    ward = await openWard();
    drain = await placeDrain(ward.service, 'kept', ago(400), { patient: { reference: 'Patient/x-1-2' } });
    await tell(
      drain,
      { ...setUp('kept-up', ago(400), 0), connections_checked: true, unit_serial: 'SN-1_2' },
      level('kept-1', ago(340), 30, {
        suction: { source: 'on', column_cmh2o: 20, bubbling: 'gentle' },
        seal: { level_cmh2o: 4 },
        tidaling: 'present',
        fluid_character: 'serous',
      }),
      level('kept-2', ago(300), 40, { tidaling: 'absent', fluid_character: 'sanguineous', clamped: false }),
    );
    page = await ward.open(`/#/drain/${drain.drain}`);
  });
  afterAll(() => ward.close());

  const openForm = (kind: string) => page.goto(`${ward.service.url}/#/drain/${drain.drain}/enter/${kind}`);

  test('stands beside its field letter for letter, and yes as yes', async () => {
    await openForm('drain-updated');
    await page.getByText('last Patient/x-1-2, ', { exact: false }).waitFor();
    await openForm('unit-changed');
    await page.getByText('last SN-1_2, ', { exact: false }).waitFor();
    await page.getByText('last yes, ', { exact: false }).waitFor();
    await page.getByText('last wet-2000, 2000 mL, ', { exact: false }).waitFor();
  });

  test('stands in the chart with swing and fluid, and a drain that is not read says how often it should be', async () => {
    await page.goto(`${ward.service.url}/#/drain/${drain.drain}`);
    await page.getByText(/^Last read 5 h (\d+ min )?ago, .*: expected every 4 h$/).waitFor();
    const rows = page.getByRole('region', { name: 'Chart', exact: true }).getByRole('row');
    await rows.filter({ hasText: 'Reading: swing absent, sanguineous' }).waitFor();
    await rows.filter({ hasText: 'Unit set up: wet-2000' }).waitFor();
    // A swing that is lost is no figure that another could be held against.
    const lost = page.locator('.advisories li').filter({ hasText: 'No swing in an open tube' });
    await lost.getByText(/^Since /).waitFor();
  });

  test('can be charted late on a drain that is out', async () => {
    await tell(drain, entry('kept-out', 'removed', ago(200)));
    await page.goto(`${ward.service.url}/#/drain/${drain.drain}`);
    await page.getByText('This drain is out.').waitFor();
    await page.getByText('Chart a late entry').click();
    await picture(page, 'out');
    await page.getByRole('link', { name: 'Reading', exact: true }).click();
    await setTimeTo(page, minutesAgo(201));
    await field(page, 'level_ml').fill('55');
    await page.getByText('net 15 ± 4.1 mL in 1 h 39 min', { exact: false }).waitFor();
    await page.getByRole('button', { name: 'Save' }).click();
    await nameAuthor(page);
    await page.getByText('Recorded: net 15 ± 4.1 mL', { exact: false }).waitFor();
    const levels = (await entriesOf(ward, drain)).map(({ body }) => body.level_ml);
    expect(levels).toContain(55);
  });
});
