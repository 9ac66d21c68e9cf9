/** SMART Backend Services against an authorization server that checks what it is sent with another library's eyes. */
import { generateKeyPairSync } from 'node:crypto';
import { chmodSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { createServer } from 'node:http';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { createLocalJWKSet, decodeProtectedHeader, jwtVerify } from 'jose';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { NotAuthorized } from '../../src/delivery/auth/authorizer.ts';
import { publicKeys } from '../../src/delivery/auth/keys.ts';
import { smartAuthorizer } from '../../src/delivery/auth/smart.ts';
import { connectTo } from '../../src/delivery/connection.ts';
import { createHttp } from '../../src/delivery/http.ts';
import { closed, listening } from '../support/local-server.ts';

const SCOPE = 'system/Observation.cruds system/Patient.rs';
const http = createHttp({ timeoutMs: 5000, tls: null });

let folder: string;
let keyFile: string;
let base: string;
let server: ReturnType<typeof createServer>;
/** What the server does, for a test to change. */
let says: {
  configuration: Record<string, unknown>;
  token: Record<string, unknown>;
  status: number;
  fhirStatus: number[];
};
let assertions: string[];
let forms: URLSearchParams[];
let authorizations: (string | undefined)[];
let scopes: string[];
let nowMs: number;

beforeEach(async () => {
  folder = mkdtempSync(join(tmpdir(), 'smart-test-'));
  keyFile = join(folder, 'key.pem');
  writeKey(keyFile, 'ES384');
  [assertions, forms, authorizations, scopes] = [[], [], [], []];
  nowMs = Date.now();
  server = createServer((request, response) => {
    let body = '';
    request.on('data', (chunk: Buffer) => {
      body += chunk.toString();
    });
    request.on('end', () => {
      const send = (status: number, value: unknown) =>
        response.writeHead(status, { 'content-type': 'application/json' }).end(JSON.stringify(value));
      if (request.url === '/fhir/.well-known/smart-configuration') return send(200, says.configuration);
      if (request.url === '/token') {
        const form = new URLSearchParams(body);
        forms.push(form);
        assertions.push(form.get('client_assertion') ?? '');
        return send(says.status, { ...says.token, access_token: `token-${assertions.length}` });
      }
      authorizations.push(request.headers.authorization);
      return send(says.fhirStatus.shift() ?? 200, {});
    });
  });
  const root = await listening(server);
  base = `${root}/fhir`;
  says = {
    configuration: {
      token_endpoint: `${root}/token`,
      grant_types_supported: ['client_credentials'],
      token_endpoint_auth_methods_supported: ['private_key_jwt'],
      token_endpoint_auth_signing_alg_values_supported: ['RS384', 'ES384'],
    },
    token: { token_type: 'bearer', expires_in: 300, scope: SCOPE },
    status: 200,
    fhirStatus: [],
  };
});
afterEach(async () => {
  await closed(server);
  rmSync(folder, { recursive: true });
});

function writeKey(file: string, alg: 'RS384' | 'ES384', mode = 0o600): void {
  const { privateKey } =
    alg === 'RS384'
      ? generateKeyPairSync('rsa', { modulusLength: 2048 })
      : generateKeyPairSync('ec', { namedCurve: 'P-384' });
  writeFileSync(file, privateKey.export({ type: 'pkcs8', format: 'pem' }), { mode });
  chmodSync(file, mode);
}

const authorizer = (more: object = {}) =>
  smartAuthorizer({
    baseUrl: base,
    clientId: 'drainledger-test',
    scope: SCOPE,
    keyFile,
    jwksUrl: null,
    http: http.send,
    now: () => nowMs,
    onScope: (granted) => scopes.push(granted),
    ...more,
  });

describe('the assertion (client-confidential-asymmetric.html)', () => {
  it.each(['RS384', 'ES384'] as const)('is signed with %s and says what it must', async (alg) => {
    writeKey(keyFile, alg);
    const one = authorizer({ jwksUrl: 'https://drains.example/.well-known/jwks.json' });
    expect(await one.header()).toBe('Bearer token-1');
    const [assertion = ''] = assertions;
    const audience = says.configuration.token_endpoint as string;
    const { payload, protectedHeader } = await jwtVerify(assertion, createLocalJWKSet(await jwks(keyFile)), {
      algorithms: [alg],
      audience,
      issuer: 'drainledger-test',
      subject: 'drainledger-test',
      typ: 'JWT',
      requiredClaims: ['exp', 'jti'],
    });
    expect((payload.exp ?? 0) * 1000 - nowMs).toBeLessThanOrEqual(300_000);
    expect(protectedHeader.jku).toBe('https://drains.example/.well-known/jwks.json');
    expect(Object.fromEntries(forms[0] ?? [])).toMatchObject({
      grant_type: 'client_credentials',
      scope: SCOPE,
      client_assertion_type: 'urn:ietf:params:oauth:client-assertion-type:jwt-bearer',
    });
  });

  it('is used once: each has a jti of its own, and a key that was replaced signs the next', async () => {
    const one = authorizer();
    await one.header();
    one.renew();
    writeKey(keyFile, 'RS384');
    await one.header();
    const jtis = assertions.map(
      (each) => JSON.parse(Buffer.from(each.split('.')[1] ?? '', 'base64url').toString()).jti,
    );
    expect(new Set(jtis).size).toBe(2);
    expect(assertions.map((each) => decodeProtectedHeader(each).alg)).toEqual(['ES384', 'RS384']);
  });
});

const jwks = async (...files: string[]) => {
  const { keys } = await publicKeys(files);
  return { keys: [...keys] };
};

describe('the token', () => {
  it('is asked for once by all that wait, and kept until shortly before its end', async () => {
    const one = authorizer();
    const headers = await Promise.all(Array.from({ length: 20 }, () => one.header()));
    expect(new Set(headers)).toEqual(new Set(['Bearer token-1']));
    nowMs += 269_000;
    expect(await one.header()).toBe('Bearer token-1');
    nowMs += 2_000;
    expect(await one.header()).toBe('Bearer token-2');
  });

  it('is renewed once when the FHIR server refuses it, and goes to that server alone', async () => {
    const connection = connectTo({
      baseUrl: base,
      http: http.send,
      authorizer: authorizer(),
      now: () => nowMs,
      onVerdict: () => undefined,
    });
    const ask = () => connection.ask({ method: 'GET', path: 'Observation/x', purpose: 'read' });
    says.fhirStatus = [401, 200];
    expect((await ask()).verdict.kind).toBe('taken');
    expect(authorizations).toEqual(['Bearer token-1', 'Bearer token-2']);
    says.fhirStatus = [401, 401];
    expect((await ask()).verdict.kind).toBe('unauthorized');
    expect(authorizations).toHaveLength(4);
  });

  it('with other scopes than were asked for is used and told of', async () => {
    says.token.scope = 'system/Patient.rs system/Observation.cruds';
    await authorizer().header();
    expect(scopes).toEqual([]);
    says.token.scope = 'system/Observation.rs';
    await authorizer().header();
    expect(scopes).toEqual(['system/Observation.rs']);
  });
});

describe('no token', () => {
  const refusal = async (): Promise<string> => {
    const error = await authorizer()
      .header()
      .catch((each: unknown) => each);
    expect(error).toBeInstanceOf(NotAuthorized);
    return (error as Error).message;
  };

  it.each([
    ['grant_types_supported', ['authorization_code'], 'client_credentials'],
    ['token_endpoint_auth_methods_supported', ['client_secret_basic'], 'private_key_jwt'],
    ['token_endpoint_auth_signing_alg_values_supported', ['RS256'], 'ES384'],
  ])('where the server does not offer what is needed in %s', async (name, offered, needed) => {
    says.configuration[name] = offered;
    expect(await refusal()).toContain(`no ${needed} in ${name}`);
    expect(assertions).toEqual([]);
  });

  it('where the server refuses, in its own words and without the assertion', async () => {
    says.status = 400;
    says.token = { error: 'invalid_client', error_description: 'key not registered' };
    const why = await refusal();
    expect(why).toContain('HTTP 400: invalid_client, key not registered');
    expect(why).not.toContain(assertions[0] ?? 'none');
  });

  it('where there is no SMART configuration, or the token is no token', async () => {
    says.token = { token_type: 'mac' };
    expect(await refusal()).toContain('gave drainledger-test no token');
    says.configuration = { hello: true };
    expect(await refusal()).toContain('without a SMART configuration');
  });

  it('with a key that others may read, or of a kind that SMART does not know', async () => {
    chmodSync(keyFile, 0o640);
    expect(await refusal()).toContain('can be read by others');
    const { privateKey } = generateKeyPairSync('ec', { namedCurve: 'P-256' });
    writeFileSync(keyFile, privateKey.export({ type: 'pkcs8', format: 'pem' }));
    chmodSync(keyFile, 0o600);
    expect(await refusal()).toContain('EC key on P-384');
  });
});

describe('published keys', () => {
  it('are the public halves of the key in use and of its neighbours, whatever their form', async () => {
    const other = join(folder, 'next.json');
    const { privateKey } = generateKeyPairSync('rsa', { modulusLength: 2048 });
    writeFileSync(other, JSON.stringify({ ...privateKey.export({ format: 'jwk' }), kid: 'next-year' }), {
      mode: 0o600,
    });
    const { keys } = await jwks(keyFile, other);
    expect(keys).toMatchObject([
      { kty: 'EC', alg: 'ES384', use: 'sig' },
      { kty: 'RSA', alg: 'RS384', kid: 'next-year' },
    ]);
    for (const key of keys)
      for (const secret of ['d', 'p', 'q', 'dp', 'dq', 'qi']) expect(key).not.toHaveProperty(secret);
  });
});
