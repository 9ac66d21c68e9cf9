/** The configuration over HTTP and across restarts: a real SQLite file, and a rule file that changes. */
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import Database from 'better-sqlite3';
import { pino } from 'pino';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { readConfig } from '../../src/config.ts';
import { DEFAULT_TABLE } from '../../src/rules/default-table.ts';
import { startService } from '../../src/service.ts';
import { openLedger } from '../store/ledger.ts';
import { entry, level, placeDrain, setUp, tell } from './messages.ts';
import { startTestService, type TestService } from './service.ts';

let folder: string;
let database: string;
let rulesFile: string;
const running: TestService[] = [];

beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'configuration-test-'));
  database = join(folder, 'ledger.db');
  rulesFile = join(folder, 'rules.json');
});
afterEach(async () => {
  for (const each of running.splice(0)) await each.stop();
  rmSync(folder, { recursive: true });
});

/** Starts on the same ledger each time. */
async function start(settings: Readonly<Record<string, string>> = {}): Promise<TestService> {
  const service = await startTestService({ DRAINLEDGER_DATABASE: database, ...settings });
  running.push(service);
  return service;
}

async function restart(settings: Readonly<Record<string, string>> = {}): Promise<TestService> {
  await running.pop()?.stop();
  return start(settings);
}

const rulesWith = (threshold: string, version = 'ward-1') => {
  const change = `{"id":"michelson-hour-1","threshold":${threshold}}`;
  writeFileSync(rulesFile, `{"version":"${version}","changes":[${change}]}`);
  return { DRAINLEDGER_RULES: rulesFile };
};

interface Version {
  readonly sequence: number;
  readonly from: string;
  readonly hash: string;
  readonly document: {
    readonly rules: { readonly version: string; readonly rules: readonly { readonly id: string }[] };
    readonly calendar: object;
  };
}
const json = async (service: TestService, path: string) => {
  const { status, text } = await service.send('GET', path);
  expect(status).toBe(200);
  return JSON.parse(text);
};
const inForce = (service: TestService): Promise<Version> => json(service, '/v1/configuration');
const allOf = async (service: TestService): Promise<readonly Version[]> =>
  (await json(service, '/v1/configuration/versions')).versions;

describe('GET /v1/configuration', () => {
  test('is version 1 after the first start: settings, profiles, rules and calendar, whole', async () => {
    const before = new Date().toISOString();
    const service = await start({ DRAINLEDGER_ZONE: 'Europe/Berlin', DRAINLEDGER_DAY_START: '06:30' });
    const after = new Date().toISOString();
    const version = await inForce(service);
    expect(version).toMatchObject({
      sequence: 1,
      document: {
        algorithm: '1',
        settings: { version: '1', max_gap_ms: 7_200_000 },
        calendar: { zone: 'Europe/Berlin', day_start: '06:30', shift_starts: ['07:00', '19:00'] },
      },
    });
    expect(version.document.rules.rules).toEqual(JSON.parse(JSON.stringify(DEFAULT_TABLE.rules)));
    expect(version.from >= before && version.from <= after).toBe(true);
    const { profiles } = await json(service, '/v1/unit-profiles');
    expect(version.document).toMatchObject({ profiles: expect.arrayContaining(profiles) });
    expect(await allOf(service)).toEqual([version]);
    const log = service
      .log()
      .split('\n')
      .filter((line) => line.includes('new version of the configuration'));
    expect(log.map((line) => JSON.parse(line))).toMatchObject([
      { version: 1, hash: version.hash, from: version.from },
    ]);
  });

  test('keeps the digits of a rule file', async () => {
    const service = await start(rulesWith('250.50'));
    expect((await service.send('GET', '/v1/configuration')).text).toContain('"threshold":250.50,');
  });
});

describe('a restart', () => {
  test('with the same adds nothing; with another rule file it is version 2, from its own time', async () => {
    const first = await inForce(await start(rulesWith('250')));
    const same = await restart(rulesWith('250'));
    expect(await allOf(same)).toEqual([first]);
    expect(same.log()).not.toContain('new version of the configuration');

    const before = new Date().toISOString();
    const changed = await restart(rulesWith('240', 'ward-2'));
    const [kept, second, ...more] = await allOf(changed);
    expect(kept).toEqual(first);
    expect(more).toEqual([]);
    expect(second).toMatchObject({ sequence: 2, document: { rules: { version: 'ward-2' } } });
    expect(second?.document.rules.rules.find(({ id }) => id === 'michelson-hour-1')).toMatchObject({
      threshold: 240,
      changed: ['threshold is 240, not 300 as published'],
    });
    expect((second?.from ?? '') >= before).toBe(true);
    expect(second?.hash).not.toBe(first.hash);
    expect(await inForce(changed)).toEqual(second);
    expect(changed.log()).toContain(`"version":2,"from":"${second?.from}","hash":"${second?.hash}"`);

    expect(await allOf(await restart(rulesWith('240', 'ward-2')))).toEqual([first, second]);
  });

  test.each([
    ['zone', { DRAINLEDGER_ZONE: 'Europe/Berlin' }],
    ['day start', { DRAINLEDGER_DAY_START: '06:00' }],
    ['shifts', { DRAINLEDGER_SHIFTS: '07:00,15:00,23:00' }],
  ])('with another %s is a version too', async (_name, settings) => {
    await start();
    expect(await allOf(await restart(settings))).toHaveLength(2);
  });

  test('with other profiles is a version too, and in what order they stand is none', async () => {
    const unit = (id: string, capacity: string) =>
      `{"id":"${id}","kind":"gravity","capacity_ml":${capacity},"graduations":[{"up_to_ml":${capacity},"mark_ml":5}],"seal_reading_includes_fill":false,"seal_fill_counts":false}`;
    const file = join(folder, 'profiles.json');
    const withUnits = (...units: string[]) => {
      writeFileSync(file, `{"profiles":[${units.join(',')}]}`);
      return { DRAINLEDGER_PROFILES: file };
    };
    await start(withUnits(unit('a', '500'), unit('b', '800')));
    expect(await allOf(await restart(withUnits(unit('b', '800'), unit('a', '500'))))).toHaveLength(1);
    const changed = await restart(withUnits(unit('b', '800'), unit('a', '501')));
    expect(await allOf(changed)).toHaveLength(2);
    const { profiles } = await json(changed, '/v1/unit-profiles');
    expect(profiles.map((each: { capacity_ml: number }) => each.capacity_ml).sort()).toEqual([501, 800]);
  });

  test('with another rule file re-issues no Observation', async () => {
    const service = await start();
    const { drain } = await told(service);
    const versions = () => {
      const db = new Database(database, { readonly: true });
      const found = db.prepare('SELECT * FROM issued WHERE drain = ? ORDER BY log_index').all(drain);
      db.close();
      return found;
    };
    const before = versions();
    expect(before.length).toBeGreaterThan(1);
    const changed = await restart(rulesWith('1'));
    expect(await allOf(changed)).toHaveLength(2);
    expect(versions()).toEqual(before);
    const { drains } = await json(changed, '/v1/drains');
    expect(drains.map((each: { drain: string }) => each.drain)).toEqual([drain]);
  });
});

describe('a new version of a rule', () => {
  const fill = (threshold: string, version: string) => {
    const change = `{"id":"three-quarters-full","threshold":${threshold}}`;
    writeFileSync(rulesFile, `{"version":"${version}","changes":[${change}]}`);
    return { DRAINLEDGER_RULES: rulesFile };
  };
  const MINUTE_MS = 60_000;
  const ago = (minutes: number) => new Date(Date.now() - minutes * MINUTE_MS).toISOString();

  test('judges what is charted from its own time on, and nothing before it', async () => {
    const placed = { placement: ago(200), up: ago(199), half: ago(120) };
    const first = await start(fill('0.75', 'ward-1'));
    const own = await placeDrain(first, 'full', placed.placement, { patient: { reference: 'Patient/1' } });
    await tell(own, setUp('up', placed.up, 0), level('half', placed.half, 1000));
    const advisories = async (service: TestService) =>
      (await json(service, `/v1/drains/${own.drain}/advisories`)).advisories;
    expect(await advisories(first)).toEqual([]);

    const second = await restart(fill('0.4', 'ward-2'));
    // Half full is over 0.4, but that was not the figure when it was read.
    expect(await advisories(second)).toEqual([]);
    const now = new Date().toISOString();
    const entries = `/v1/drains/${own.drain}/entries`;
    expect((await second.send('POST', entries, level('now', now, 1010))).status).toBe(201);
    const raised = [{ rule: { id: 'three-quarters-full', threshold: 0.4 }, raised_at: now, ended_at: null }];
    expect(await advisories(second)).toMatchObject(raised);
    // A late entry for a time before the change is judged by what counted then.
    expect((await second.send('POST', entries, level('late', ago(60), 1005))).status).toBe(201);
    expect(await advisories(second)).toMatchObject(raised);

    const third = await restart(fill('0.75', 'ward-3'));
    expect(await allOf(third)).toHaveLength(3);
    expect(await advisories(third)).toMatchObject(raised);
  });
});

async function told(service: TestService) {
  const own = await placeDrain(service, 'one', '08:00', { patient: { reference: 'Patient/1' } });
  await tell(own, setUp('up', '08:00', 0), level('l-1', '09:00', 120));
  return own;
}

describe('no reader takes it for a drain', () => {
  const BASE = '/v1/drains/configuration';

  test('none of the routes of a drain knows it', async () => {
    const service = await start();
    await told(service);
    const paths = Object.keys(service.document.paths)
      .filter((path) => path.startsWith('/v1/drains/{drain}'))
      .map((path) => path.replace('/v1/drains/{drain}', BASE));
    expect(paths.length).toBeGreaterThan(6);
    for (const path of paths.map((each) =>
      each.endsWith('removal-evidence') ? `${each}?policy=none` : each,
    )) {
      const { status } = await service.send('GET', path);
      expect({ path, status }).toEqual({ path, status: expect.toSatisfy((it) => it === 404 || it === 400) });
    }
    expect((await service.send('GET', `${BASE}/entries`)).text).toContain('no-such-drain');
    for (const path of ['/v1/drains', '/v1/advisories', '/v1/overdue'])
      expect((await service.send('GET', path)).text).not.toContain('configuration');
  });

  test('and nothing can be charted to it', async () => {
    const service = await start();
    const { status, text } = await service.send('POST', `${BASE}/entries`, level('x', '09:00', 10));
    expect({ status, text }).toMatchObject({ status: 404, text: expect.stringContaining('no-such-drain') });
    const batch = { entries: [{ drain: 'configuration', ...entry('y', 'removed', '09:00') }] };
    expect((await service.send('POST', '/v1/entries', batch)).text).toContain('no-such-drain');
    expect(await allOf(service)).toHaveLength(1);
  });
});

describe('the service does not start', () => {
  const startBare = (settings: Readonly<Record<string, string>> = {}) =>
    startService({
      config: readConfig({
        DRAINLEDGER_DATABASE: database,
        DRAINLEDGER_ORIGIN: 'test.example',
        DRAINLEDGER_DEVELOPMENT: 'yes',
        DRAINLEDGER_PORT: '0',
        ...settings,
      }),
      logger: pino({ level: 'silent' }),
      onFatal(error) {
        throw error;
      },
    });

  test('when it cannot write its configuration; and the ledger is free again', async () => {
    await start();
    await running.pop()?.stop();
    const db = new Database(database);
    db.exec(`CREATE TRIGGER obstacle BEFORE INSERT ON ledger BEGIN SELECT RAISE(ABORT, 'in the way'); END`);
    await expect(startBare(rulesWith('240'))).rejects.toThrow(
      /^the configuration cannot be written to the ledger: .*nothing was written/,
    );
    db.exec('DROP TRIGGER obstacle');
    db.close();
    expect(await allOf(await start(rulesWith('240')))).toHaveLength(2);
  });

  test('when it cannot read a version of the past', async () => {
    const ledger = openLedger(database, { origin: 'test.example' });
    await ledger.store.configure('{"algorithm":"0"}');
    await ledger.close();
    await expect(startBare()).rejects.toThrow(/^version 1 of the configuration in the ledger cannot be read/);
  });
});
