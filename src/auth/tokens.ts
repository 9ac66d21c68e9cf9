/** Bearer tokens: JWTs of issuers that are configured, and nothing that a token says of itself is believed before its signature. */
import {
  createLocalJWKSet,
  createRemoteJWKSet,
  errors,
  type JWTPayload,
  type JWTVerifyGetKey,
  jwtVerify,
} from 'jose';
import type { Bounds, Principal } from './principal.ts';
import { isOfOnePatient } from './scope.ts';

export interface Issuer {
  readonly issuer: string;
  readonly audience: string;
  /** Where the issuer publishes its keys; or the keys themselves. */
  readonly jwks: URL | { readonly keys: readonly object[] };
  readonly algorithms: readonly string[];
}

/** Why a token is not believed, in words for a log: never what the token holds. */
export class BadToken extends Error {}

/** Who asks cannot be told now, by no fault of theirs: why, in words for a log. */
export class CannotCheck extends Error {}

const JWKS_TIMEOUT_MS = 3000;
const JWKS_COOLDOWN_MS = 30_000;
const JWKS_MAX_AGE_MS = 10 * 60_000;
const CLOCK_TOLERANCE_S = 5;
const MOST_BYTES = 8192;

/** @returns reads a token to who it speaks for; throws {@link BadToken} or {@link CannotCheck} */
export function createTokenReader(issuers: readonly Issuer[]): (token: string) => Promise<Principal> {
  const known = new Map(issuers.map((each) => [each.issuer, { ...each, keyOf: keysOf(each.jwks) }]));
  return async (token) => {
    if (token.length > MOST_BYTES) throw new BadToken('it is too long');
    const issuer = known.get(issuerNamedIn(token));
    if (issuer === undefined) throw new BadToken('its issuer is not configured');
    const { payload } = await jwtVerify(token, issuer.keyOf, {
      issuer: issuer.issuer,
      audience: issuer.audience,
      algorithms: [...issuer.algorithms],
      requiredClaims: ['exp', 'scope'],
      clockTolerance: CLOCK_TOLERANCE_S,
    }).catch((error: unknown) => {
      if (error instanceof CannotCheck) throw error;
      throw new BadToken(`it is not valid: ${codeOf(error)}`);
    });
    return principalOf(payload);
  };
}

/**
 * Only the configured place is asked for keys, at most every 30 s for a key that is not known: the `jku`, `jwk` and
 * `x5u` of a token are never looked at, and its `kid` only tells keys apart.
 */
function keysOf(jwks: Issuer['jwks']): JWTVerifyGetKey {
  if (!(jwks instanceof URL)) return createLocalJWKSet(jwks as Parameters<typeof createLocalJWKSet>[0]);
  const keyOf = createRemoteJWKSet(jwks, {
    timeoutDuration: JWKS_TIMEOUT_MS,
    cooldownDuration: JWKS_COOLDOWN_MS,
    cacheMaxAge: JWKS_MAX_AGE_MS,
  });
  return (...asked) =>
    keyOf(...asked).catch((error: unknown) => {
      throw isOfToken(error) ? error : new CannotCheck(`${jwks} gave no keys: ${causeOf(error)}`);
    });
}

/** With the name of the claim, where one is wrong. */
function codeOf(error: unknown): string {
  if (error instanceof errors.JWTClaimValidationFailed || error instanceof errors.JWTExpired)
    return `${error.code} of ${error.claim}`;
  return error instanceof errors.JOSEError ? error.code : 'unknown';
}

/** What an issuer that is down, or gives no keys, ends in. */
const NO_KEYS: readonly string[] = [errors.JOSEError.code, errors.JWKSTimeout.code, errors.JWKSInvalid.code];
const isOfToken = (error: unknown): boolean =>
  error instanceof errors.JOSEError && !NO_KEYS.includes(error.code);

/** Of a request that failed the cause says why. */
function causeOf(error: unknown): string {
  const { message, cause } = error as Error;
  return cause instanceof Error ? `${message}, ${cause.message || String(cause)}` : message;
}

/** Which issuer's keys to try; believed of nothing else. */
function issuerNamedIn(token: string): string {
  try {
    const [, payload = ''] = token.split('.');
    const { iss } = JSON.parse(Buffer.from(payload, 'base64url').toString()) as { iss?: unknown };
    return typeof iss === 'string' ? iss : '';
  } catch {
    return '';
  }
}

function principalOf({ sub, client_id: client, azp, jti, scope, patient }: JWTPayload): Principal {
  if (typeof scope !== 'string') throw new BadToken('its scope is no text');
  const name = [client, azp, sub].find((each): each is string => typeof each === 'string' && each !== '');
  if (name === undefined) throw new BadToken('it names no client');
  return {
    client: name,
    subject: sub ?? null,
    // As IHE BALP has it for a token that is known by its id alone.
    credential: typeof jti === 'string' ? `urn:ietf:params:oauth:jti:${encodeURIComponent(jti)}` : null,
    scope,
    bounds: boundsOf(scope, patient),
  };
}

/** With `patient/` scopes the token speaks for one patient, whom it must name. */
function boundsOf(scope: string, patient: unknown): Bounds {
  if (!isOfOnePatient(scope) && patient === undefined) return { patient: null, drain: null };
  if (typeof patient !== 'string' || !/^[A-Za-z0-9\-.]{1,64}$/.test(patient))
    throw new BadToken('it is for one patient and names none');
  return { patient: { reference: `Patient/${patient}` }, drain: null };
}
