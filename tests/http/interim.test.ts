/**
 * A unit that reports every minute and is charted every quarter of an hour, over HTTP and across a restart, on a real SQLite
 * file: every reading is acknowledged and kept, and the record hears of those that are charted.
 */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { parse } from 'csv-parse/sync';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { assigned, closed, registration, withdrawn } from './device-ward.ts';
import * as raw from './fhir-messages.ts';
import { corrected, DEVICE, id, level, placeDrain, setUp, type TestDrain, tell } from './messages.ts';
import { QUARTERLY, quarterlyProfiles } from './quarter-hours.ts';
import { startTestService, type TestService } from './service.ts';

let folder: string;
let profiles: string;
let service: TestService;
let drain: TestDrain;

const start = () =>
  startTestService({
    DRAINLEDGER_DATABASE: join(folder, 'ledger.db'),
    DRAINLEDGER_PROFILES: profiles,
  });

beforeEach(async () => {
  folder = mkdtempSync(join(tmpdir(), 'interim-test-'));
  profiles = quarterlyProfiles(folder);
  service = await start();
  drain = await placeDrain(service, 'placed', '08:00', { patient: { reference: 'Patient/1' } });
  await tell(drain, setUp('up', '08:00', 0, QUARTERLY));
});
afterEach(async () => {
  await service.stop();
  rmSync(folder, { recursive: true });
});

const clock = (minute: number): string => `09:${String(minute).padStart(2, '0')}`;
const sent = (minute: number, more: object = {}) =>
  level(`m${minute}`, clock(minute), minute, { author: DEVICE, ...more });

interface Page {
  readonly entries: readonly { readonly interim?: true; readonly body: { readonly level_ml?: number } }[];
}
const read = async (path: string) => JSON.parse((await service.send('GET', path)).text);
const charted = async (): Promise<string[]> =>
  (await read(`/v1/drains/${drain.drain}/chart`)).rows
    .map(({ identifier }: { identifier: { value: string } }) => identifier.value)
    .filter((key: string) => key.startsWith('m'));
/** After a restart too. */
const enter = (message: object) => service.send('POST', `/v1/drains/${drain.drain}/entries`, message);
const issued = async (): Promise<number> =>
  (await read('/fhir/Observation?code=level&_summary=count&patient=1')).total;

test('each is acknowledged with what would follow, and kept; those in between are neither charted nor issued', async () => {
  for (let minute = 0; minute <= 20; minute += 1) {
    const answer = await drain.enter(sent(minute));
    expect(answer.status).toBe(201);
    const receipt = JSON.parse(answer.text);
    expect(receipt.sequence).toBe(minute + 3);
    if (minute === 0 || minute === 15) {
      expect(receipt).not.toHaveProperty('interim');
      expect(receipt.observations).toBeGreaterThan(5);
    } else {
      expect(receipt).toMatchObject({ interim: true, observations: 0 });
      expect(receipt.derived.interval.net_ml).toBe(minute < 15 ? minute : minute - 15);
    }
    expect((await drain.enter(sent(minute))).status).toBe(200);
  }
  const page: Page = JSON.parse(await drain.ledger());
  expect(page.entries.filter(({ interim }) => interim === true).map(({ body }) => body.level_ml)).toEqual(
    Array.from({ length: 21 }, (_, n) => n).filter((n) => n % 15 !== 0),
  );
  expect(await charted()).toEqual(['m0', 'm15']);
  expect(await issued()).toBe(2);
  const chart = await read(`/v1/drains/${drain.drain}/chart`);

  await service.stop();
  service = await start();
  expect(await read(`/v1/drains/${drain.drain}/chart`)).toEqual(chart);
  expect(JSON.parse((await enter(sent(29))).text)).toMatchObject({ interim: true, sequence: 24 });
  expect(JSON.parse((await enter(sent(30))).text)).toMatchObject({ sequence: 25, late: false });
  expect(await charted()).toEqual(['m0', 'm15', 'm30']);
});

test('a dry run says so too; there is nothing to correct', async () => {
  await tell(drain, sent(0));
  const path = `/v1/drains/${drain.drain}/entries?dry-run=true`;
  const dry = await service.send('POST', path, sent(5));
  expect(JSON.parse(dry.text)).toMatchObject({ dry_run: true, receipt: { interim: true } });
  await tell(drain, sent(5));
  const { author: _author, identifier: _identifier, ...replacement } = sent(5, { level_ml: 6 });
  const answer = await drain.enter(corrected('c', 'm5', replacement));
  expect(answer.status).toBe(422);
  expect(JSON.parse(answer.text)).toMatchObject({
    errors: [{ pointer: '/target', mend: 'name the identifier of an entry that is charted on this drain' }],
  });
});

test('as an Observation it is taken with 202 and the reason', async () => {
  await tell(drain, sent(0));
  const observation = raw.level('o5', '09:05', 5, {
    performer: null,
    device: { identifier: id('device-1') },
  });
  const answer = await service.send('POST', '/fhir/Observation', observation, {
    'content-type': 'application/fhir+json',
  });
  expect(answer.status).toBe(202);
  expect(JSON.parse(answer.text).issue[0]).toMatchObject({
    severity: 'information',
    diagnostics: 'Recorded, and not issued: it lies between two readings of the device that are charted.',
  });
  expect(await issued()).toBe(1);
});

test('the export says of an interim reading that its device turned out to be on another drain', async () => {
  const other = await placeDrain(service, 'other', '08:00', { patient: { reference: 'Patient/2' } });
  const act = async (path: string, message: object) =>
    expect((await service.send('POST', `/v1/devices${path}`, message)).status).toBe(201);
  const { identifier: device } = DEVICE;
  const registered = await service.send('POST', '/v1/devices', registration('registered', device));
  const name = JSON.parse(registered.text).device;
  await act(`/${name}/assignments`, assigned('a1', drain.drain, '08:00'));
  for (const minute of [0, 5, 10]) {
    const answer = await service.send('POST', '/v1/device-entries', sent(minute, { device }));
    expect(JSON.parse(answer.text).interim).toBe(minute === 0 ? undefined : true);
  }
  const statuses = async () => {
    const { text } = await service.send('GET', `/v1/drains/${drain.drain}/export.csv`);
    const records: Record<string, string>[] = parse(text, { columns: true });
    return ['m0', 'm5', 'm10'].map((key) => {
      const own = records.find(({ identifier_value }) => identifier_value === key);
      return [own?.status, own?.counts_for];
    });
  };
  expect(await statuses()).toEqual([
    ['charted', drain.drain],
    ['interim', drain.drain],
    ['interim', drain.drain],
  ]);
  await act(`/${name}/assignments`, closed('c1', 'a1', clock(7)));
  await act(`/${name}/assignments`, assigned('a2', other.drain, clock(7)));
  expect(await statuses()).toEqual([
    ['charted', drain.drain],
    ['interim', drain.drain],
    ['elsewhere', other.drain],
  ]);
  await act(`/${name}/assignments`, withdrawn('w1', 'a2'));
  expect((await statuses())[2]).toEqual(['elsewhere', '']);
});

test('the export of the drain holds interim readings, and says that they are', async () => {
  await tell(drain, sent(0), sent(15));
  expect((await enter(sent(17))).status).toBe(201);
  const { text } = await service.send('GET', `/v1/drains/${drain.drain}/export.csv`);
  const records: Record<string, string>[] = parse(text, { columns: true });
  const of = (key: string) => records.filter(({ identifier_value }) => identifier_value === key);
  expect(of('m15')).toMatchObject([{ status: 'charted', value: '15' }]);
  expect(of('m17')).toMatchObject([{ status: 'interim', value: '17', counts_for: drain.drain }]);
  const own = of('m17')[0]?.entry;
  expect(records.filter(({ entry, record }) => entry === own && record === 'derived')).toEqual([]);
});
