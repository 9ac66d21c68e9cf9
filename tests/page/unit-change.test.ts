/** What the page says of pressures once a new unit is attached, of which nothing is charted yet. */
import { afterAll, beforeAll, expect, test } from 'vitest';
import { entry, tell } from '../http/messages.ts';
import { describeInBrowser, minutesAgo, openWard, picture, type Ward } from './browser.ts';
import { chartedDrain } from './seed.ts';

describeInBrowser('after a unit change', () => {
  let ward: Ward;
  beforeAll(async () => {
    ward = await openWard();
  });
  afterAll(() => ward.close());

  test('the total negativity is not known of the new unit, and shown as what it was before', async () => {
    const changed = await chartedDrain(ward, 'changed');
    const page = await ward.open(`/#/drain/${changed.drain}`);
    const now = page.getByRole('region', { name: 'Now' });
    await now.getByText('19 cmH2O below atmosphere').waitFor();
    const change = { profile: 'wet-2000', closing_level_ml: 170, opening_level_ml: 0 };
    await tell(changed, entry('changed-unit', 'unit-changed', minutesAgo(30).moment, change));
    await now.getByText('not known: not charted since this unit was attached').waitFor();
    await now.getByText(/^before: 19 cmH2O below atmosphere, .*\d\d:\d\d$/).waitFor();
    await picture(page, 'unit-changed');
    await page.goto(`${ward.service.url}/#/`);
    const card = page.getByRole('listitem').filter({ hasText: 'Patient/changed' });
    await card.getByText('not known: not charted since this unit was attached').waitFor();
    expect(await card.getByText('19').count()).toBe(0);
  });
});
