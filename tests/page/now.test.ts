/** What the view of a drain says of the devices on it, and of a drain that is out. */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { assigned, closed, registerMonitor } from '../http/device-ward.ts';
import { DEVICE, entry, level, placeDrain, setUp, type TestDrain, tell } from '../http/messages.ts';
import { QUARTERLY, quarterlyProfiles } from '../http/quarter-hours.ts';
import { startTestService, type TestService } from '../http/service.ts';
import { describeInBrowser, minutesAgo, openWard, picture, type Ward } from './browser.ts';

const ago = (minutes: number): string => minutesAgo(minutes).moment;

describeInBrowser('the state of a drain on its page', () => {
  let folder: string;
  let service: TestService;
  let ward: Ward;
  let drain: TestDrain;
  beforeAll(async () => {
    folder = mkdtempSync(join(tmpdir(), 'page-test-'));
    service = await startTestService({
      DRAINLEDGER_ZONE: 'Europe/Berlin',
      DRAINLEDGER_PROFILES: quarterlyProfiles(folder),
    });
    ward = await openWard(service);
    drain = await placeDrain(service, 'devices', ago(120), { patient: { reference: 'Patient/devices' } });
    await tell(drain, setUp('devices-up', ago(120), 0, QUARTERLY));
  });
  afterAll(async () => {
    await ward.close();
    await service.stop();
    rmSync(folder, { recursive: true });
  });

  test('names a device while it is on the drain, and says that readings in between are kept', async () => {
    const monitor = await registerMonitor(service);
    expect((await monitor.assign(assigned('on', drain.drain, ago(110)))).status).toBe(201);
    const sent = (minutes: number, level_ml: number) =>
      level(`devices-${minutes}`, ago(minutes), level_ml, { author: DEVICE });
    await tell(drain, sent(100, 10), sent(99, 11));

    const page = await ward.open(`/#/drain/${drain.drain}`);
    const now = page.getByRole('region', { name: 'Now' });
    await now.getByText(/^monitor monitor-1, since .*\d\d:\d\d$/).waitFor();
    await now.getByText('one is charted every 15 min; those in between are kept as interim').waitFor();
    const rows = page.getByRole('region', { name: 'Chart', exact: true }).getByRole('row');
    expect(await rows.filter({ hasText: 'Reading' }).count()).toBe(1);
    await picture(page, 'devices');

    expect((await monitor.assign(closed('off', 'on', ago(50)))).status).toBe(201);
    await page.reload();
    await now.getByText('one is charted every 15 min').waitFor();
    expect(await now.getByText('monitor-1').count()).toBe(0);
  });

  test('shows no level, swing or tube of a drain that is out', async () => {
    const page = await ward.open(`/#/drain/${drain.drain}`);
    const names = page.getByRole('region', { name: 'Now' }).locator('dt');
    await names.first().waitFor();
    const before = await names.allTextContents();
    expect(before).toEqual(expect.arrayContaining(['Level', 'Swing', 'Tube']));
    await tell(drain, entry('devices-removed', 'removed', ago(5)));
    await page.reload();
    await page.getByText('This drain is out.').waitFor();
    const left = before.filter((name) => !['Level', 'Swing', 'Tube'].includes(name));
    expect(await names.allTextContents()).toEqual(left);
  });
});
