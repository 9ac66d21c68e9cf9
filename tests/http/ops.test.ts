/** Liveness and readiness, asked of the built app without a listening socket of ours (supertest opens its own). */

import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import Database from 'better-sqlite3';
import { pino } from 'pino';
import request from 'supertest';
import { afterAll, expect, test } from 'vitest';
import { DEVELOPMENT } from '../../src/auth/access-control.ts';
import { defaultProfiles } from '../../src/configuration/profiles.ts';
import { USUAL_TERMINOLOGY } from '../../src/domain/vocabulary/configuration.ts';
import { openExports } from '../../src/export/bulk/exports.ts';
import { buildApp } from '../../src/http/app.ts';
import { createPictures } from '../../src/plots/pictures.ts';
import { createAccesses } from '../../src/record/accesses.ts';
import { createRecordAct } from '../../src/record/device-acts.ts';
import { createPreview, createRecord } from '../../src/record/record.ts';
import { DEFAULT_TABLE } from '../../src/rules/default-table.ts';
import { startSearchIndex } from '../../src/search/host.ts';
import { openSqliteStore } from '../../src/store/sqlite/store.ts';
import { DEFAULT_POLICY } from '../support/policy.ts';

const folder = mkdtempSync(join(tmpdir(), 'ops-test-'));
const file = join(folder, 'ledger.db');
const store = openSqliteStore({
  file,
  migrationsFolder: fileURLToPath(new URL('../../migrations', import.meta.url)),
  origin: 'ops.example',
  targets: [],
  policy: () => DEFAULT_POLICY,
  mostQueued: 10,
  now: Date.now,
  onFatal(error) {
    throw error;
  },
});
const canonical = 'http://example.org/drainledger';
const search = startSearchIndex({ database: file, zone: 'UTC', canonical, log: pino({ level: 'silent' }) });
const exports = openExports({
  database: file,
  folder: join(folder, 'exports'),
  log: pino({ level: 'silent' }),
  now: Date.now,
});
const RECORD_SETTINGS = {
  policy: DEFAULT_POLICY,
  canonical,
  origin: 'test.example',
  terminology: USUAL_TERMINOLOGY,
};
const app = buildApp({
  logger: pino({ level: 'silent' }),
  access: DEVELOPMENT,
  limits: null,
  proxies: [],
  parts: {
    store,
    search,
    exports,
    pictures: createPictures(),
    record: createRecord(store, RECORD_SETTINGS),
    preview: createPreview(store, RECORD_SETTINGS),
    recordAct: createRecordAct(store, RECORD_SETTINGS),
    policy: DEFAULT_POLICY,
    profiles: defaultProfiles(),
    rules: DEFAULT_TABLE,
    calendar: { zone: 'UTC', dayStart: 0, shiftStarts: [0] },
    accesses: createAccesses({ store, log: pino({ level: 'silent' }), now: Date.now }),
    proof: { origin: 'ops.example', keys: () => [], sinks: () => [], witnesses: [] },
    canonical,
    publicUrl: () => 'http://service.example',
    now: Date.now,
    hl7v2: null,
    mllpConnections: () => null,
    delivery: { status: () => [], resume: async () => false, jwks: async () => ({ keys: [] }) },
  },
});
await app.ready();
afterAll(async () => {
  await app.close();
  await search.close();
  await exports.close();
  await store.close();
  rmSync(folder, { recursive: true });
});

test('lives, and is ready while the store can write', async () => {
  await request(app.server).get('/livez').expect(200, { alive: true });
  await request(app.server).get('/readyz').expect(200, { ready: true, deliveries: [] });
});

test('is not ready while the store cannot write, and lives on', async () => {
  const other = new Database(file);
  other.exec('BEGIN IMMEDIATE');
  const answer = await request(app.server).get('/readyz').expect(503);
  await request(app.server).get('/livez').expect(200);
  other.exec('ROLLBACK');
  other.close();
  expect(JSON.parse(answer.text)).toMatchObject({ type: 'urn:drainledger:problem:not-ready' });
  await request(app.server).get('/readyz').expect(200);
});

test('says where its API reference is, under the URL that clients know', async () => {
  const answer = await request(app.server).get('/v1/').expect(200);
  expect(answer.body.api_reference).toBe('http://service.example/openapi.json');
  expect(answer.body.cautions).toContain('Local policy and the responsible clinician decide.');
});

test('says that no configuration is recorded on a store that was never given one', async () => {
  const answer = await request(app.server).get('/v1/configuration').expect(404);
  expect(JSON.parse(answer.text)).toMatchObject({ type: 'urn:drainledger:problem:no-configuration' });
  await request(app.server).get('/v1/configuration/versions').expect(200, { versions: [] });
});
