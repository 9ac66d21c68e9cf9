/** A target that is taken out of the configuration, or renamed there, while deliveries wait for it. */
import { copyFileSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { createServer, type Server } from 'node:http';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, expect, it } from 'vitest';
import { makeKeyFile } from '../../src/audit/key-file.ts';
import { addressOf, closed, listening } from '../support/local-server.ts';
import { until } from '../support/until.ts';
import { level, placeDrain, setUp, tell } from './messages.ts';
import { startTestService, type TestService } from './service.ts';

let folder: string;
let service: TestService;
let ehr: Server;
let bundles: number;

beforeEach(async () => {
  folder = mkdtempSync(join(tmpdir(), 'left-targets-'));
  makeKeyFile(join(folder, 'key.pem'));
  bundles = 0;
  ehr = createServer((request, response) => {
    bundles += 1;
    request.resume().on('end', () => response.end());
  });
  await listening(ehr);
});
afterEach(async () => {
  await service.stop();
  await closed(ehr);
  rmSync(folder, { recursive: true });
});

async function start(name: string, base_url: string): Promise<void> {
  const file = join(folder, 'targets.json');
  const targets = [{ name, base_url, mode: 'transaction', longest_pause_s: 0.05, resources_at_once: 1 }];
  writeFileSync(file, JSON.stringify({ targets }));
  service = await startTestService({
    DRAINLEDGER_TARGETS: file,
    DRAINLEDGER_DATABASE: join(folder, 'ledger.db'),
    DRAINLEDGER_CHECKPOINT_KEY: join(folder, 'key.pem'),
    DRAINLEDGER_HEAD_FILE: join(folder, 'head'),
  });
}

interface Listed {
  readonly target: string;
  readonly state: string;
  readonly waiting: number;
}
const list = async (): Promise<Listed[]> =>
  JSON.parse((await service.send('GET', '/v1/targets')).text).targets;
const waiting = async () => (await list()).map(({ target, state, waiting }) => [target, state, waiting]);

it('is listed as long as anything waits for it, told of in the log, and gets what waited when it is back', async () => {
  await start('old', 'http://127.0.0.1:1/fhir');
  const drain = await placeDrain(service, 'd', '08:00', { patient: { reference: 'Patient/p1' } });
  await tell(drain, setUp('set-up', '08:00', 0), level('a', '09:00', 120));
  const [, , many] = (await waiting())[0] ?? [];
  expect(many).toBeGreaterThan(1);
  await service.stop();

  const there = `${addressOf(ehr)}/fhir`;
  await start('new', there);
  expect(await waiting()).toEqual([
    ['new', 'working', 0],
    ['old', 'unconfigured', many],
  ]);
  const [warned] = service.log().match(/\{[^\n]*no longer configured[^\n]*\}/) ?? [];
  expect(JSON.parse(warned ?? '{}')).toMatchObject({ level: 40, target: 'old', waiting: many });
  expect((await service.send('POST', '/v1/targets/old/resume', {})).status).toBe(404);
  await service.stop();

  await start('old', there);
  await until(async () => (await waiting())[0]?.[2] === 0, list);
  expect(await waiting()).toEqual([['old', 'working', 0]]);
  expect(bundles).toBe(many);
});

it('is not said of one that is configured, where nothing is sent as the ledger is only read', async () => {
  await start('old', 'http://127.0.0.1:1/fhir');
  const drain = await placeDrain(service, 'd', '08:00', { patient: { reference: 'Patient/p1' } });
  await tell(drain, setUp('set-up', '08:00', 0));
  await service.stop();
  copyFileSync(join(folder, 'ledger.db'), join(folder, 'older.db'));
  await start('old', 'http://127.0.0.1:1/fhir');
  await service.send('POST', `/v1/drains/${drain.drain}/entries`, level('a', '09:00', 120));
  await service.stop();
  copyFileSync(join(folder, 'older.db'), join(folder, 'ledger.db'));
  await start('old', 'http://127.0.0.1:1/fhir');
  expect((await service.send('GET', '/readyz')).status).toBe(503);
  expect(await waiting()).toEqual([]);
});
