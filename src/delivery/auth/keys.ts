/** Private keys that sign our assertions, and the public half that targets verify them with. */
import { createPrivateKey, createPublicKey, type JsonWebKey, type KeyObject } from 'node:crypto';
import { calculateJwkThumbprint, type JWK } from 'jose';
import { readSecret } from './secret-file.ts';

export interface SigningKey {
  readonly key: KeyObject;
  readonly alg: 'RS384' | 'ES384';
  readonly kid: string;
  readonly publicJwk: JWK;
}

const SMALLEST_RSA_BITS = 2048;

/**
 * Reads a private key: PEM (PKCS #8), or one JWK whose `kid` is kept. Without one the key is called by its thumbprint
 * (RFC 7638).
 * @throws {Error} when it cannot be read, or is no RSA key of 2048 bits or more and no key on the curve P-384
 */
export async function readSigningKey(path: string): Promise<SigningKey> {
  const text = readSecret(path);
  const isJwk = text.trimStart().startsWith('{');
  const jwk = isJwk ? (JSON.parse(text) as JsonWebKey) : null;
  const key = jwk === null ? createPrivateKey(text) : createPrivateKey({ key: jwk, format: 'jwk' });
  const alg = algorithmOf(key, path);
  const exported = createPublicKey(key).export({ format: 'jwk' }) as JWK;
  const kid = typeof jwk?.kid === 'string' ? jwk.kid : await calculateJwkThumbprint(exported);
  return { key, alg, kid, publicJwk: { ...exported, kid, alg, use: 'sig', key_ops: ['verify'] } };
}

function algorithmOf(key: KeyObject, path: string): SigningKey['alg'] {
  const { asymmetricKeyType: type, asymmetricKeyDetails: details } = key;
  if (type === 'rsa' && (details?.modulusLength ?? 0) >= SMALLEST_RSA_BITS) return 'RS384';
  if (type === 'ec' && details?.namedCurve === 'secp384r1') return 'ES384';
  throw new Error(`${path} must hold an RSA key of 2048 bits or more, or an EC key on P-384`);
}

/** Public keys of these files, each once. @throws as {@link readSigningKey} */
export async function publicKeys(paths: readonly string[]): Promise<{ readonly keys: readonly JWK[] }> {
  const keys = await Promise.all([...new Set(paths)].map(readSigningKey));
  return { keys: keys.map(({ publicJwk }) => publicJwk) };
}
