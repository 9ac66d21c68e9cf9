/**
 * SMART Backend Services (SMART App Launch 2.2.0, backend-services.html and client-confidential-asymmetric.html):
 * a signed assertion is exchanged for a short-lived token.
 */
import { randomUUID } from 'node:crypto';
import { SignJWT } from 'jose';
import { z } from 'zod';
import type { HttpAnswer, SendHttp } from '../http.ts';
import { parsed } from '../outcome.ts';
import { type Authorizer, NotAuthorized } from './authorizer.ts';
import { readSigningKey, type SigningKey } from './keys.ts';

export interface SmartOptions {
  readonly baseUrl: string;
  readonly clientId: string;
  readonly scope: string;
  /** The first signs; it is read for each assertion, so that a key may be replaced while we run. */
  readonly keyFile: string;
  /** Where our public keys are, if the server was told so (`jku`). */
  readonly jwksUrl: string | null;
  readonly http: SendHttp;
  now(): number;
  /** Told when the server grants other scopes than were asked for. */
  onScope(granted: string): void;
}

/** At most 5 minutes (client-confidential-asymmetric.html); less leaves nothing to steal. */
const ASSERTION_S = 240;
const DEFAULT_LIFE_S = 300;
const ASSERTION_TYPE = 'urn:ietf:params:oauth:client-assertion-type:jwt-bearer';

const configuration = z.object({
  token_endpoint: z.url(),
  grant_types_supported: z.array(z.string()).optional(),
  token_endpoint_auth_methods_supported: z.array(z.string()).optional(),
  token_endpoint_auth_signing_alg_values_supported: z.array(z.string()).optional(),
});
const tokenAnswer = z.object({
  access_token: z
    .string()
    .min(1)
    .regex(/^[\x21-\x7e]+$/),
  token_type: z.string().regex(/^bearer$/i),
  expires_in: z.number().positive().optional(),
  scope: z.string().optional(),
});

interface Token {
  readonly header: string;
  readonly untilMs: number;
}

export function smartAuthorizer(options: SmartOptions): Authorizer {
  let token: Token | null = null;
  let endpoint: string | null = null;
  let asking: Promise<Token> | null = null;

  async function ask(): Promise<Token> {
    const key = await readSigningKey(options.keyFile).catch((error: unknown) => {
      throw new NotAuthorized(`the key cannot be used: ${error instanceof Error ? error.message : error}`);
    });
    endpoint ??= await discover(options, key.alg);
    const answer = await askToken(options, endpoint, key).catch((error: unknown) => {
      // It may have moved: looked up again next time.
      endpoint = null;
      throw error;
    });
    return answer;
  }

  return {
    async header() {
      if (token !== null && options.now() < token.untilMs) return token.header;
      // One request for all that wait for it.
      asking ??= ask().finally(() => {
        asking = null;
      });
      token = await asking;
      return token.header;
    },
    renew() {
      token = null;
      return true;
    },
  };
}

/** @throws {NotAuthorized} when the server does not offer this, or would have the assertion sent in the clear */
async function discover({ baseUrl, http }: SmartOptions, alg: SigningKey['alg']): Promise<string> {
  const url = `${baseUrl}/.well-known/smart-configuration`;
  const answer = await http({ method: 'GET', url, headers: { accept: 'application/json' } }).catch(
    failed(url),
  );
  const read = configuration.safeParse(parsed(answer.body ?? ''));
  if (answer.status !== 200 || !read.success)
    throw new NotAuthorized(`${url} answered HTTP ${answer.status} without a SMART configuration`);
  const { token_endpoint: endpoint } = read.data;
  require(read.data.grant_types_supported, 'client_credentials', 'grant_types_supported');
  require(read.data
    .token_endpoint_auth_methods_supported, 'private_key_jwt', 'token_endpoint_auth_methods_supported');
  require(read.data
    .token_endpoint_auth_signing_alg_values_supported, alg, 'token_endpoint_auth_signing_alg_values_supported');
  if (baseUrl.startsWith('https:') && !endpoint.startsWith('https:'))
    throw new NotAuthorized(`its token endpoint ${endpoint} is not https`);
  return endpoint;
}

function require(offered: readonly string[] | undefined, needed: string, name: string): void {
  if (offered === undefined || offered.includes(needed)) return;
  throw new NotAuthorized(`its SMART configuration offers no ${needed} in ${name}`);
}

async function askToken(options: SmartOptions, endpoint: string, key: SigningKey): Promise<Token> {
  const { clientId, scope, http, now } = options;
  const body = new URLSearchParams({
    grant_type: 'client_credentials',
    scope,
    client_assertion_type: ASSERTION_TYPE,
    client_assertion: await assertion(options, endpoint, key),
  });
  const askedMs = now();
  const headers = { accept: 'application/json', 'content-type': 'application/x-www-form-urlencoded' };
  const answer = await http({ method: 'POST', url: endpoint, headers, body: body.toString() }).catch(
    failed(endpoint),
  );
  const read = tokenAnswer.safeParse(parsed(answer.body ?? ''));
  if (answer.status !== 200 || !read.success)
    throw new NotAuthorized(`${endpoint} gave ${clientId} no token: ${oauthError(answer)}`);
  const { access_token, expires_in = DEFAULT_LIFE_S, scope: granted } = read.data;
  if (granted !== undefined && !sameScopes(granted, scope)) options.onScope(granted);
  const margin = Math.min(30, expires_in / 10);
  return { header: `Bearer ${access_token}`, untilMs: askedMs + (expires_in - margin) * 1000 };
}

async function assertion(
  { clientId, jwksUrl, now }: SmartOptions,
  endpoint: string,
  { key, alg, kid }: SigningKey,
): Promise<string> {
  const nowS = Math.floor(now() / 1000);
  return new SignJWT()
    .setProtectedHeader({ alg, kid, typ: 'JWT', ...(jwksUrl === null ? {} : { jku: jwksUrl }) })
    .setIssuer(clientId)
    .setSubject(clientId)
    .setAudience(endpoint)
    .setIssuedAt(nowS)
    .setExpirationTime(nowS + ASSERTION_S)
    .setJti(randomUUID())
    .sign(key);
}

const failed =
  (url: string) =>
  (error: unknown): never => {
    throw new NotAuthorized(`${url}: ${error instanceof Error ? error.message : String(error)}`);
  };

const oauthFault = z.object({ error: z.string(), error_description: z.string().optional() });

/** RFC 6749, 5.2. */
function oauthError({ status, body }: HttpAnswer): string {
  const read = oauthFault.safeParse(parsed(body ?? ''));
  if (!read.success) return `HTTP ${status}`;
  const { error, error_description: said } = read.data;
  return `HTTP ${status}: ${`${error}${said === undefined ? '' : `, ${said}`}`.slice(0, 500)}`;
}

const sameScopes = (a: string, b: string): boolean => sorted(a) === sorted(b);
const sorted = (scopes: string): string => scopes.split(/\s+/).filter(Boolean).sort().join(' ');
