/**
 * Who accessed what: every answer that shows or takes what concerns patients is an entry of the ledger before it leaves.
 * What has to be kept: 45 CFR 164.312(b); ISO 27789:2021 (who, subject of care, function, time, reads too), from memory.
 */
import { join } from 'node:path';
import Database from 'better-sqlite3';
import { afterAll, beforeAll, beforeEach, describe, expect, test } from 'vitest';
import { type Guarded, startGuarded } from './access-control.ts';
import { level, placement, setUp, voided } from './messages.ts';

interface Kept {
  readonly stream: string;
  readonly envelope: Record<string, unknown>;
  readonly body: Record<string, unknown>;
}

let guarded: Guarded;
let db: Database.Database;
let nurse: string;
let drain: string;
let other: string;
let seen = -1;

beforeAll(async () => {
  guarded = await startGuarded();
  db = new Database(join(guarded.service.folder, 'ledger.db'), { readonly: true });
  nurse = await guarded.token({
    scope: 'system/*.cruds drainledger/operate drainledger/audit',
    client_id: 'ward-app',
    sub: 'nurse-7',
    jti: 'token-1',
  });
  const place = async (key: string, patient: object | undefined) => {
    const { text } = await send('POST', '/v1/drains', placement(key, '08:00', { patient }));
    const name = JSON.parse(text).drain as string;
    for (const message of [setUp(`${key}-up`, '08:00', 0), level(`${key}-1`, '09:00', 50)])
      expect((await send('POST', `/v1/drains/${name}/entries`, message)).status).toBe(201);
    return name;
  };
  drain = await place('one', { reference: 'Patient/1' });
  other = await place('two', { identifier: { system: 'urn:example:mrn', value: '2' } });
});
afterAll(async () => {
  db.close();
  await guarded.stop();
});
beforeEach(() => {
  kept();
});

const send = (
  method: string,
  path: string,
  body?: object,
  headers: object = {},
  token: string | null = nurse,
) => guarded.send(token, method, path, body, headers);

/** Entries since the last time that this was asked. */
function kept(): Kept[] {
  const rows = db
    .prepare<[number], { log_index: number; stream: string; envelope: string; body: string }>(
      'SELECT log_index, stream, envelope, body FROM ledger JOIN payload USING (log_index) WHERE log_index > ? ORDER BY log_index',
    )
    .all(seen);
  seen = rows.at(-1)?.log_index ?? seen;
  return rows.map(({ stream, envelope, body }) => ({
    stream,
    envelope: JSON.parse(envelope),
    body: JSON.parse(body),
  }));
}
const accesses = () => kept().flatMap(({ envelope, body }) => (envelope.type === 'access' ? [body] : []));

const ONE = () => ({ patient: { reference: 'Patient/1' }, drains: [drain] });
const TWO = () => ({ patient: { identifier: { system: 'urn:example:mrn', value: '2' } }, drains: [other] });
const BOTH = () => [ONE(), TWO()].sort((a, b) => ((a.drains[0] ?? '') < (b.drains[0] ?? '') ? -1 : 1));
const NOBODY = { patient: null, drains: [] };
const about = ({ patient, drains }: Record<string, unknown>) => ({ patient, drains });

describe('a read', () => {
  test('is kept with who, from where, what, whom it was about and what was answered', async () => {
    const { status } = await send('GET', `/v1/drains/${drain}/chart`, undefined, { 'x-request-id': 'abc-1' });
    expect(status).toBe(200);
    const [entry, ...rest] = kept();
    expect(rest).toEqual([]);
    expect(entry?.envelope).toMatchObject({
      type: 'access',
      actor: { type: 'client', client: 'ward-app', subject: 'nurse-7' },
      seq: expect.any(Number),
    });
    expect(entry?.stream).toMatch(/^access\.\d{4}-\d\d-\d\d\.[0-9a-f]{16}$/);
    expect(entry?.body).toEqual({
      kind: 'access',
      client: 'ward-app',
      subject: 'nurse-7',
      credential: 'urn:ietf:params:oauth:jti:token-1',
      address: '127.0.0.1',
      request_id: 'abc-1',
      interaction: 'read',
      operation: 'chart',
      request: `GET /v1/drains/${drain}/chart`,
      status: 200,
      ...ONE(),
    });
    // The envelope is bare in every proof: it names no patient.
    expect(JSON.stringify(entry?.envelope)).not.toContain('Patient');
  });

  test('that repeats one is counted, and told when the service stops', async () => {
    const asked = `/v1/drains/${drain}/state`;
    for (let n = 0; n < 5; n += 1) expect((await send('GET', asked)).status).toBe(200);
    expect(accesses()).toHaveLength(1);
    const another = await guarded.token({ scope: 'system/Observation.r', client_id: 'other-app' });
    await send('GET', asked, undefined, {}, another);
    await send('GET', `${asked}?as_of=2026-11-20T08:30:00Z`);
    expect(accesses()).toMatchObject([
      { client: 'other-app', subject: null },
      { request: expect.stringContaining('as_of') },
    ]);
  });

  test('of one resource, a version, a history, a search, an operation', async () => {
    const { text } = await send('GET', '/fhir/Observation?code=level&_count=50');
    const { id } = JSON.parse(text).entry.find((each: { resource: { id: string } }) =>
      each.resource.id.includes(drain),
    ).resource;
    await send('GET', `/fhir/Observation/${id}`);
    await send('GET', `/fhir/Observation/${id}/_history/1`);
    await send('GET', `/fhir/Observation/${id}/_history`);
    await send('GET', '/fhir/Observation/_history?_count=1000');
    await send('GET', '/fhir/Observation/$lastn?patient=1&code=level');
    await send('GET', '/fhir/Observation?patient:identifier=urn:example:mrn|2');
    await send('POST', '/fhir/Observation/_search', undefined, {});
    const form = { 'content-type': 'application/x-www-form-urlencoded', authorization: `Bearer ${nurse}` };
    await guarded.service.send('POST', '/fhir/Observation/_search', 'patient=1&code=level', form);
    expect(accesses().map((each) => [each.interaction, about(each)])).toEqual([
      ...BOTH().map((each) => ['search-type', each]),
      ['read', ONE()],
      ['vread', ONE()],
      ['history-instance', ONE()],
      ...BOTH().map((each) => ['history-type', each]),
      ['operation', ONE()],
      ['search-type', TWO()],
      ...BOTH().map((each) => ['search-type', each]),
      ['search-type', ONE()],
    ]);
  });

  test('that found nothing is about whom it asked for', async () => {
    const form = { 'content-type': 'application/x-www-form-urlencoded', authorization: `Bearer ${nurse}` };
    for (const query of [
      'patient=9',
      'subject=Patient/9&code=level',
      'patient.identifier=a|b,c|d',
      'subject:Patient=1',
    ])
      await send('GET', `/fhir/Observation?${query}`);
    await guarded.service.send('POST', '/fhir/Device/_search', 'patient:identifier=a|b', form);
    const nine = { patient: { reference: 'Patient/9' }, drains: [] };
    const named = (system: string, value: string) => ({
      patient: { identifier: { system, value } },
      drains: [],
    });
    const confined = await guarded.token({
      scope: 'patient/Observation.rs',
      patient: '9',
      client_id: 'of-nine',
    });
    await send('GET', '/fhir/Observation?code=level', undefined, {}, confined);
    expect(accesses().map(about)).toEqual([
      nine,
      nine,
      named('a', 'b'),
      named('c', 'd'),
      ONE(),
      named('a', 'b'),
      nine,
    ]);
  });

  test('of many drains names those that were shown, and of a query by form the form', async () => {
    for (const path of ['/v1/drains', '/v1/overview', '/v1/overdue', '/v1/advisories'])
      expect((await send('GET', path)).status).toBe(200);
    const found = accesses();
    for (const operation of ['drains', 'overview', 'overdueReadings'])
      expect(found.filter((each) => each.operation === operation).map(about), operation).toEqual(BOTH());
    expect(found.filter((each) => each.operation === 'standingAdvisories').map(about)).toEqual([NOBODY]);
    const form = { 'content-type': 'application/x-www-form-urlencoded', authorization: `Bearer ${nurse}` };
    await guarded.service.send('POST', '/fhir/Device/_search', 'patient=1', form);
    expect(accesses()).toMatchObject([{ request: 'POST /fhir/Device/_search\npatient=1', ...ONE() }]);
  });

  test('of a live stream is one access when it begins', async () => {
    expect((await send('GET', `/v1/drains/${drain}/live`)).status).toBe(200);
    expect(accesses()).toMatchObject([{ operation: 'drainLive', ...ONE() }]);
  });
});

describe('a write', () => {
  test('has no second entry: its own says which client sent it', async () => {
    await send('POST', `/v1/drains/${drain}/entries`, level('w-1', '10:00', 70), { 'x-request-id': 'w' });
    const [entry, ...rest] = kept();
    expect(rest).toEqual([]);
    expect(entry?.envelope).toMatchObject({
      actor: { type: 'person', reference: 'Practitioner/n1' },
      sent_by: {
        client: 'ward-app',
        subject: 'nurse-7',
        credential: 'urn:ietf:params:oauth:jti:token-1',
        address: '127.0.0.1',
        request_id: 'w',
      },
    });
  });

  test('that was recorded before, refused, or only foreseen is an access', async () => {
    const path = `/v1/drains/${drain}/entries`;
    await send('POST', path, level('w-1', '10:00', 70));
    await send('POST', path, level('w-1', '10:00', 71));
    await send('POST', path, { ...level('w-2', '10:00', 70), level_ml: -1 });
    await send('POST', `${path}?dry-run=true`, level('w-3', '11:00', 80));
    expect(accesses().map((each) => [each.interaction, each.status, about(each)])).toEqual([
      ['create', 200, ONE()],
      ['create', 409, ONE()],
      ['create', 422, ONE()],
      ['operation', 200, ONE()],
    ]);
  });

  test('in a batch says it in each entry, and the batch is one access', async () => {
    const items = [level('b-1', '10:10', 72), level('b-2', '10:20', 74)].map((each) => ({ drain, ...each }));
    await send('POST', '/v1/entries', { entries: items });
    expect(kept().map(({ envelope: { type, sent_by } }) => [type, sent_by !== undefined])).toEqual([
      ['reading', true],
      ['reading', true],
      ['access', false],
    ]);
  });
});

describe('a refusal of access control is kept', () => {
  test('of whoever is not known, without what they made up', async () => {
    for (const path of ['chart?as_of=2026-11-20T08:00:00Z', 'chart', 'state'])
      expect((await send('GET', `/v1/drains/${drain}/${path}`, undefined, {}, 'abc')).status).toBe(401);
    expect(accesses().map(({ client, request, status }) => [client, request, status])).toEqual([
      [null, 'GET /v1/drains/:drain/chart', 401],
      [null, 'GET /v1/drains/:drain/state', 401],
    ]);
    for (const path of [`/v1/drains/${other}/trends`, '/v1/drains/up-1/trends', '/v1/drains/up-2/trends'])
      expect((await send('GET', path, undefined, {}, 'abc')).status).toBe(401);
    for (const made of ['up-3', 'up-4'])
      expect((await send('GET', `/fhir/Observation/level.${made}.x`, undefined, {}, 'abc')).status).toBe(401);
    // Whom somebody tried to look at is kept, names that no patient stands behind are not.
    expect(accesses().map((each) => [each.request, about(each)])).toEqual([
      ['GET /v1/drains/:drain/trends', TWO()],
      ['GET /v1/drains/:drain/trends', NOBODY],
      ['GET /fhir/Observation/:id', NOBODY],
    ]);
  });

  test('of a route that concerns nobody as well', async () => {
    const reader = await guarded.token({ scope: 'system/Observation.rs', client_id: 'reader' });
    expect((await send('GET', '/metrics', undefined, {}, reader)).status).toBe(403);
    expect(accesses()).toMatchObject([
      { client: 'reader', operation: 'metrics', status: 403, patient: null },
    ]);
  });

  test('of another patient, by path, in a batch and in a bundle', async () => {
    const key = guarded.key('system/Observation.crus', { patient: null, drain });
    await expect
      .poll(async () => (await send('GET', `/v1/drains/${drain}`, undefined, {}, key)).status)
      .toBe(200);
    kept();
    const foreign = `/v1/drains/${other}/chart`;
    expect((await send('GET', foreign, undefined, {}, key)).status).toBe(403);
    await send('POST', '/v1/entries', { entries: [{ drain: other, ...voided('x', 'two-1') }] }, {}, key);
    await send(
      'POST',
      '/fhir',
      {
        resourceType: 'Bundle',
        type: 'batch',
        entry: [{ request: { method: 'GET', url: `Observation/level.${other}.x` } }],
      },
      {},
      key,
    );
    expect(accesses().map((each) => [each.client, each.status, about(each)])).toEqual([
      ['engine', 403, TWO()],
      ['engine', 403, TWO()],
      ['engine', 200, NOBODY],
      ['engine', 403, TWO()],
    ]);
  });
});

const UNREAD = [400, 406, 413, 414, 415, 428];

test('every route that asks who comes is kept, but for those that say that they concern nobody', async () => {
  const scope = 'system/*.cruds drainledger/operate drainledger/audit';
  const fresh = await guarded.token({ scope, client_id: 'sweep' });
  const { policies } = JSON.parse((await send('GET', '/v1/removal-policies')).text);
  const asked: Readonly<Record<string, string>> = {
    lastnObservation: '?patient=1&code=level',
    statsObservation: '?subject=Patient/1&code=level&statistic=count&duration=100',
    auditProof: '?index=0',
    auditConsistency: '?from=1',
    removalEvidence: `?policy=${policies[0].id}`,
  };
  const silent: string[] = [];
  for (const [route, operations] of Object.entries(guarded.service.document.paths)) {
    for (const [method, operation] of Object.entries(operations)) {
      const { operationId, security } = operation as unknown as { operationId: string; security: object[] };
      if (security.length === 0) continue;
      const real = route.replace('{drain}', drain).replaceAll(/\{\w+\}/g, `x.${drain}.y`);
      kept();
      const path = `${real}${asked[operationId] ?? ''}`;
      const { status } = await send(method.toUpperCase(), path, method === 'get' ? undefined : {}, {}, fresh);
      // What could not be read as a request is no access either: those need a body or a header that is not sent here.
      if (accesses().length === 0 && !UNREAD.includes(status)) silent.push(`${method} ${operationId}`);
    }
  }
  expect(silent.sort()).toEqual(
    [
      ...['about', 'audit', 'auditCheckpoint', 'auditConsistency', 'auditProof', 'configuration'],
      ...['configurationVersions', 'metrics', 'readCodeSystem', 'readStructureDefinition', 'readValueSet'],
      ...['removalPolicies', 'rules', 'searchCodeSystem', 'searchStructureDefinition', 'searchValueSet'],
      ...['targets', 'unitProfiles'],
    ]
      .map((each) => `get ${each}`)
      .sort(),
  );
});

test('what cannot be recorded is not shown', async () => {
  const lock = new Database(join(guarded.service.folder, 'ledger.db'));
  lock.exec('BEGIN IMMEDIATE');
  const native = await send('GET', `/v1/drains/${drain}/chart?as_of=2026-11-20T08:01:00Z`);
  const fhir = await send('GET', '/fhir/Observation?code=level&_count=3');
  lock.exec('ROLLBACK');
  lock.close();
  expect([native.status, native.headers.get('retry-after')]).toEqual([503, '1']);
  expect(JSON.parse(native.text)).toMatchObject({ type: 'urn:drainledger:problem:not-durable' });
  expect([fhir.status, JSON.parse(fhir.text).resourceType]).toEqual([503, 'OperationOutcome']);
  expect(accesses()).toEqual([]);
  expect((await send('GET', `/v1/drains/${drain}/chart?as_of=2026-11-20T08:01:00Z`)).status).toBe(200);
});
