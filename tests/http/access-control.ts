/** A service that asks who comes, an issuer of its own, and clients of all kinds. */
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { exportJWK, generateKeyPair, type JWTPayload, SignJWT } from 'jose';
import { newKey, type StoredKey } from '../../src/auth/keys.ts';
import { type Bounds, UNBOUND } from '../../src/auth/principal.ts';
import { startTestService, type TestService } from './service.ts';

export const ISSUER = 'https://issuer.example';
export const AUDIENCE = 'https://drains.example/fhir';

export interface Guarded {
  readonly service: TestService;
  readonly keys: Awaited<ReturnType<typeof generateKeyPair>>;
  readonly publicJwk: object;
  token(claims?: JWTPayload): Promise<string>;
  /** A key, in the file at once. */
  key(scope: string, bounds?: Bounds): string;
  revokeAll(): void;
  send(
    token: string | null,
    method: string,
    path: string,
    body?: object,
    headers?: object,
  ): ReturnType<TestService['send']>;
  stop(): Promise<void>;
}

/** @param settings of the environment, beside those of every test */
export async function startGuarded(settings: Readonly<Record<string, string>> = {}): Promise<Guarded> {
  const folder = mkdtempSync(join(tmpdir(), 'access-'));
  const keys = await generateKeyPair('ES384', { extractable: true });
  const publicJwk = { ...(await exportJWK(keys.publicKey)), kid: 'k1', alg: 'ES384', use: 'sig' };
  const write = (name: string, value: object) => writeFileSync(join(folder, name), JSON.stringify(value));
  const stored: StoredKey[] = [];
  const writeKeys = () => write('keys.json', { keys: stored });
  const key = (scope: string, bounds: Bounds = UNBOUND): string => {
    const made = newKey('engine', scope, bounds, '2026-01-01T00:00:00Z');
    stored.push(made.stored);
    writeKeys();
    return made.key;
  };
  write('jwks.json', { keys: [publicJwk] });
  writeKeys();
  write('access.json', {
    issuers: [
      { issuer: ISSUER, audience: AUDIENCE, jwks_file: 'jwks.json', token_endpoint: `${ISSUER}/token` },
    ],
    keys_file: 'keys.json',
  });
  const service = await startTestService({ ...settings, DRAINLEDGER_ACCESS: join(folder, 'access.json') });
  return {
    service,
    keys,
    publicJwk,
    key,
    revokeAll() {
      for (const [n, each] of stored.entries()) stored[n] = { ...each, revoked_at: '2026-01-02T00:00:00Z' };
      writeKeys();
    },
    token: (claims = {}) =>
      new SignJWT({ scope: 'system/Observation.crus', client_id: 'engine-1', ...claims })
        .setProtectedHeader({ alg: 'ES384', kid: 'k1' })
        .setIssuer(claims.iss ?? ISSUER)
        .setAudience(claims.aud ?? AUDIENCE)
        .setIssuedAt(claims.iat)
        .setExpirationTime(claims.exp ?? '5m')
        .sign(keys.privateKey),
    send(token, method, path, body, headers = {}) {
      const type =
        body === undefined
          ? {}
          : { 'content-type': path.startsWith('/fhir') ? 'application/fhir+json' : 'application/json' };
      const authorization = token === null ? {} : { authorization: `Bearer ${token}` };
      return service.send(method, path, body, { ...type, ...authorization, ...headers });
    },
    async stop() {
      await service.stop();
      rmSync(folder, { recursive: true });
    },
  };
}
