/** Who asks cannot be told: the issuer's keys, or the file of ours, cannot be had. That is no fault of who asks. */
import { mkdtempSync, renameSync, rmSync, writeFileSync } from 'node:fs';
import { createServer, type Server } from 'node:http';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { exportJWK, generateKeyPair, SignJWT } from 'jose';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { newKey } from '../../src/auth/keys.ts';
import { UNBOUND } from '../../src/auth/principal.ts';
import { closed, listening } from '../support/local-server.ts';
import { problemsOf } from '../support/r4.ts';
import { startTestService, type TestService } from './service.ts';

const SCOPE = 'system/Observation.rs';
const made = newKey('engine', SCOPE, UNBOUND, '2026-01-01T00:00:00Z');
let folder: string;
let keysFile: string;
let issuer: Server;
/** What the issuer answers who asks for its keys. */
let says: { status: number; body: string };
let token: string;
let service: TestService;

beforeEach(async () => {
  folder = mkdtempSync(join(tmpdir(), 'unchecked-'));
  keysFile = join(folder, 'keys.json');
  writeFileSync(keysFile, JSON.stringify({ keys: [made.stored] }));
  const { privateKey, publicKey } = await generateKeyPair('ES384', { extractable: true });
  says = { status: 200, body: JSON.stringify({ keys: [{ ...(await exportJWK(publicKey)), kid: 'k1' }] }) };
  issuer = createServer((_request, response) => response.writeHead(says.status).end(says.body));
  const url = await listening(issuer);
  const access = join(folder, 'access.json');
  const listed = { issuer: url, audience: 'drains', jwks_url: `${url}/jwks` };
  writeFileSync(access, JSON.stringify({ issuers: [listed], keys_file: 'keys.json' }));
  token = await new SignJWT({ scope: SCOPE, client_id: 'app' })
    .setProtectedHeader({ alg: 'ES384', kid: 'k1' })
    .setIssuer(url)
    .setAudience('drains')
    .setExpirationTime('5m')
    .sign(privateKey);
  service = await startTestService({ DRAINLEDGER_ACCESS: access });
});
afterEach(async () => {
  await service.stop();
  await closed(issuer);
  rmSync(folder, { recursive: true });
});

const ask = (bearer: string, path = '/v1/drains') =>
  service.send('GET', path, undefined, { authorization: `Bearer ${bearer}` });

test.each([
  ['answers an error', { status: 502, body: '' }],
  ['answers no keys', { status: 200, body: '<html>' }],
])('an issuer that %s: 503 until it gives its keys, and never 401', async (_what, fault) => {
  const good = says;
  says = fault;
  const { status, headers, text } = await ask(token);
  expect([status, headers.get('retry-after'), headers.get('www-authenticate')]).toEqual([503, '5', null]);
  expect(JSON.parse(text)).toMatchObject({ type: 'urn:drainledger:problem:cannot-check', status: 503 });
  expect(text).not.toContain('jwks');
  const outcome = await ask(token, '/fhir/Observation');
  expect(outcome.status).toBe(503);
  expect(problemsOf(JSON.parse(outcome.text))).toEqual([]);
  expect(JSON.parse(outcome.text).issue[0].code).toBe('transient');
  const [line = ''] = service
    .log()
    .split('\n')
    .filter((each) => each.includes('who asks cannot be told'));
  expect(JSON.parse(line)).toMatchObject({ level: 50, why: expect.stringContaining('/jwks') });
  expect(service.log()).not.toContain(token);
  expect((await ask(made.key)).status).toBe(200);
  says = good;
  expect((await ask(token)).status).toBe(200);
});

test('an issuer that is gone: 503', async () => {
  await closed(issuer);
  expect((await ask(token)).status).toBe(503);
});

test.each([
  ['is gone', (file: string) => renameSync(file, `${file}.away`), 'ENOENT'],
  ['was half written by hand', (file: string) => writeFileSync(file, '{"keys": ['), 'JSON'],
  ['holds what is no key', (file: string) => writeFileSync(file, '{"keys": [{"id": 7}]}'), '/keys/0/id'],
] as const)('a file of keys that %s: 503, and the log says which file and why', async (_what, spoil, why) => {
  spoil(keysFile);
  expect((await ask(made.key)).status).toBe(503);
  expect(service.log()).toContain(keysFile);
  expect(service.log()).toContain(why);
  expect((await ask(token)).status).toBe(200);
});
