/**
 * Who may export. Sources: FHIR Bulk Data Access 2.0.0 (requiresAccessToken, files by token), SMART App Launch 2.2.0
 * (backend-services.html: system scopes), OWASP API Security Top 10 2023 (API1 object level).
 */
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { problemsOf } from '../support/r4.ts';
import { type Guarded, startGuarded } from './access-control.ts';
import { type Exporter, exporterOf } from './exporter.ts';
import { level, placement, setUp } from './messages.ts';

let guarded: Guarded;
let warehouse: string;
let client: Exporter;

beforeAll(async () => {
  guarded = await startGuarded();
  const full = await guarded.token({ scope: 'system/*.cruds' });
  const placed = await guarded.send(
    full,
    'POST',
    '/v1/drains',
    placement('mine', '08:00', { patient: { reference: 'Patient/1' } }),
  );
  const { drain } = JSON.parse(placed.text);
  for (const message of [setUp('up', '08:00', 0), level('r', '09:00', 50)])
    expect((await guarded.send(full, 'POST', `/v1/drains/${drain}/entries`, message)).status).toBe(201);
  warehouse = await guarded.token({
    scope: 'system/Observation.rs system/Provenance.r system/Provenance.s',
    client_id: 'warehouse',
  });
  client = exporterOf((...sent) => guarded.send(warehouse, ...sent));
});
afterAll(() => guarded.stop());

const ASYNC = { prefer: 'respond-async' };
const start = (token: string | null, query = '') =>
  guarded.send(token, 'GET', `/fhir/$export${query}`, undefined, ASYNC);

test('a client gets the types that its scope allows, and needs its token for the files', async () => {
  const { manifest } = await client.exported('/fhir/$export');
  expect(manifest.output.map(({ type }) => type).sort()).toEqual(['Observation', 'Provenance']);
  expect(manifest.requiresAccessToken).toBe(true);
  for (const { url } of manifest.output) {
    const { pathname } = new URL(url);
    expect((await guarded.send(null, 'GET', pathname)).status).toBe(401);
    expect((await guarded.send(warehouse, 'GET', pathname)).status).toBe(200);
    // The scope is that of the token that asks for the file, not of the one that asked for the export.
    const narrow = await guarded.token({ scope: 'system/Device.rs', client_id: 'warehouse' });
    expect((await guarded.send(narrow, 'GET', pathname)).status).toBe(403);
  }
});

test('another client sees nothing of it, and cannot end it', async () => {
  const { at, manifest } = await client.exported('/fhir/$export?_type=Observation');
  const other = await guarded.token({ scope: 'system/*.cruds drainledger/audit', client_id: 'other' });
  const file = new URL(manifest.output[0]?.url ?? '').pathname;
  for (const [method, path] of [
    ['GET', at],
    ['GET', file],
    ['DELETE', at],
  ] as const) {
    const { status, text } = await guarded.send(other, method, path);
    expect([status, problemsOf(JSON.parse(text))], `${method} ${path}`).toEqual([404, []]);
  }
  expect((await guarded.send(warehouse, 'GET', at)).status).toBe(200);
});

test('nor does one of the same name that is confined', async () => {
  const { at, manifest } = await client.exported('/fhir/$export?_type=Observation');
  const confined = await guarded.token({ scope: 'system/*.rs', patient: '1', client_id: 'warehouse' });
  const file = new URL(manifest.output[0]?.url ?? '').pathname;
  for (const [method, path] of [
    ['GET', at],
    ['GET', file],
    ['DELETE', at],
  ] as const)
    expect((await guarded.send(confined, method, path)).status, `${method} ${path}`).toBe(404);
  expect((await guarded.send(warehouse, 'GET', at)).status).toBe(200);
});

describe('who may not', () => {
  test('without a token', async () => {
    expect((await start(null)).status).toBe(401);
  });

  const tokens: Readonly<Record<string, () => Promise<string> | string>> = {
    'may only read': () => guarded.token({ scope: 'system/Observation.r' }),
    'may only search': () => guarded.token({ scope: 'system/Observation.s' }),
    'may only chart': () => guarded.token({ scope: 'system/Observation.cu' }),
    'speaks for a user': () => guarded.token({ scope: 'user/*.rs' }),
    'speaks for one patient': () => guarded.token({ scope: 'patient/*.rs', patient: '1' }),
    'has a scope that holds for a patient beside one that holds for all': () =>
      guarded.token({ scope: 'patient/*.rs system/*.rs', patient: '1' }),
    'has a key of one drain': () => guarded.key('system/*.rs', { patient: null, drain: 'abc' }),
    'has a key of one patient': () =>
      guarded.key('system/*.rs', { patient: { reference: 'Patient/1' }, drain: null }),
  };
  test.each(Object.keys(tokens))('a client that %s', async (name) => {
    const token = (await tokens[name]?.()) ?? '';
    await expect.poll(async () => (await start(token)).status, { timeout: 5000 }).toBe(403);
    const { text, headers } = await start(token, '?_type=Observation');
    expect(problemsOf(JSON.parse(text))).toEqual([]);
    expect(headers.get('content-location')).toBeNull();
  });

  test('for a type beyond its scope, which is named', async () => {
    const { status, text } = await start(warehouse, '?_type=Observation,Device');
    expect([status, text]).toEqual([403, expect.stringContaining('system/Device.rs')]);
  });
});
