/** Who may come in, from the file that a facility writes: issuers of tokens, and where keys are kept. */
import { statSync } from 'node:fs';
import { dirname, resolve } from 'node:path';
import { z } from 'zod';
import type { AccessControl } from '../auth/access-control.ts';
import { holderOf, isKey, keyFile, type StoredKey } from '../auth/keys.ts';
import { isLoopback } from '../auth/loopback.ts';
import { BadToken, CannotCheck, createTokenReader } from '../auth/tokens.ts';
import { readJsonFile } from './json-file.ts';

/** Asymmetric ones only: whoever can check a token must not be able to make one. */
const ALGORITHMS = [
  'RS256',
  'RS384',
  'RS512',
  'PS256',
  'PS384',
  'PS512',
  'ES256',
  'ES384',
  'ES512',
  'EdDSA',
] as const;

const jwksUrl = z.url().refine((text) => isSafe(new URL(text)), {
  error: 'must be https, or http on a loopback address',
});
const isSafe = ({ protocol, hostname }: URL): boolean =>
  protocol === 'https:' || (protocol === 'http:' && isLoopback(hostname));

const accessFile = z.strictObject({
  issuers: z
    .array(
      z.strictObject({
        issuer: z.string().min(1),
        audience: z.string().min(1),
        jwks_url: jwksUrl.optional(),
        jwks_file: z.string().optional(),
        algorithms: z.array(z.enum(ALGORITHMS)).min(1).default(['RS384', 'ES384']),
        token_endpoint: z.url().optional(),
      }),
    )
    .default([]),
  keys_file: z.string().optional(),
});

/** @throws {Error} naming all that is wrong with the file */
export function readAccess(path: string): AccessControl {
  const { issuers: listed, keys_file: keysFile } = readJsonFile(path, accessFile, JSON.parse);
  if (listed.length === 0 && keysFile === undefined)
    throw new Error(`${path} lets nobody in: name issuers, a keys_file, or both`);
  const beside = (file: string): string => resolve(dirname(path), file);
  const issuers = listed.map(({ jwks_url: url, jwks_file: file, token_endpoint: _endpoint, ...rest }) => {
    if ((url === undefined) === (file === undefined))
      throw new Error(`${path}: issuer ${rest.issuer} needs one of jwks_url and jwks_file`);
    const jwks = file === undefined ? new URL(url ?? '') : readJsonFile(beside(file), jwkSet, JSON.parse);
    return { ...rest, jwks };
  });
  const readToken = createTokenReader(issuers);
  const keys = keysFile === undefined ? () => [] : createKeyReader(beside(keysFile));
  return {
    isOpen: false,
    tokenEndpoint: listed.find((each) => each.token_endpoint !== undefined)?.token_endpoint ?? null,
    async principalOf(token) {
      if (!isKey(token)) return readToken(token);
      const holder = holderOf(token, keys());
      if (holder === null) throw new BadToken('it is no key, or was revoked');
      return holder;
    },
  };
}

const jwkSet = z.looseObject({ keys: z.array(z.looseObject({})).min(1) });

/** Keys as they stand in the file now: one that is revoked is refused from then on. @throws {CannotCheck} when it cannot be read */
function createKeyReader(path: string): () => readonly StoredKey[] {
  let known: { readonly keys: readonly StoredKey[]; readonly changedMs: number } | undefined;
  const keys = (): readonly StoredKey[] => {
    try {
      // Asked first: a file that is put in its place while this one is read is then read as well.
      const changedMs = statSync(path).mtimeMs;
      if (known?.changedMs !== changedMs) known = { ...readJsonFile(path, keyFile, JSON.parse), changedMs };
      return known.keys;
    } catch (error) {
      throw new CannotCheck(
        `the file of keys cannot be read: ${error instanceof Error ? error.message : error}`,
      );
    }
  };
  keys();
  return keys;
}
