/**
 * Keys of devices and engines that cannot do OAuth: 256 random bits each, of which only the hash is kept. A hash of so
 * much chance needs no salt and no slow function: there is nothing to guess.
 */
import { createHash, randomBytes, timingSafeEqual } from 'node:crypto';
import { z } from 'zod';
import { type Bounds, type Principal, UNBOUND } from './principal.ts';
import { allows, isOfOnePatient } from './scope.ts';

const reference = z.strictObject({
  reference: z.string().optional(),
  identifier: z.strictObject({ system: z.string(), value: z.string() }).optional(),
});

const storedKey = z.strictObject({
  id: z.string().regex(/^[a-z0-9]{8}$/),
  client: z.string().min(1).max(100),
  scope: z.string(),
  sha256: z.string().regex(/^[0-9a-f]{64}$/),
  created_at: z.string(),
  revoked_at: z.string().nullable(),
  patient: reference.nullable(),
  drain: z.string().nullable(),
});
export const keyFile = z.strictObject({ keys: z.array(storedKey) });

export type StoredKey = z.infer<typeof storedKey>;

const KEY = /^dlk_([a-z0-9]{8})_([A-Za-z0-9_-]{43})$/;

export const isKey = (token: string): boolean => token.startsWith('dlk_');

/** A new key and what is kept of it; the key itself is shown once and cannot be had again. */
export function newKey(
  client: string,
  scope: string,
  bounds: Bounds,
  now: string,
): { readonly key: string; readonly stored: StoredKey } {
  const id = randomBytes(5).toString('hex').slice(0, 8);
  const secret = randomBytes(32).toString('base64url');
  const { patient, drain } = bounds;
  const stored = {
    id,
    client,
    scope,
    sha256: hash(secret),
    created_at: now,
    revoked_at: null,
    patient,
    drain,
  };
  return { key: `dlk_${id}_${secret}`, stored: stored as StoredKey };
}

const hash = (secret: string): string => createHash('sha256').update(secret).digest('hex');

/** Whose key it is; null when it is none, or no longer. */
export function holderOf(key: string, keys: readonly StoredKey[]): Principal | null {
  const [, id, secret] = KEY.exec(key) ?? [];
  const stored = keys.find((each) => each.id === id);
  if (stored === undefined || secret === undefined || stored.revoked_at !== null) return null;
  if (!timingSafeEqual(Buffer.from(hash(secret)), Buffer.from(stored.sha256))) return null;
  const { client, scope, patient, drain } = stored;
  if (patient === null && isOfOnePatient(scope)) return null;
  const bounds = patient === null && drain === null ? UNBOUND : { patient, drain };
  return {
    client,
    subject: null,
    credential: `urn:drainledger:key:${stored.id}`,
    scope,
    bounds: bounds as Bounds,
  };
}

/** Words of a scope that grant nothing: a key would look as if it could do more than it can. */
export function wordsOfNoUse(scope: string): readonly string[] {
  const accesses = ['operate', 'audit', 'metrics'] as const;
  return scope
    .split(' ')
    .filter((word) => word !== '')
    .filter((word) => !accesses.some((each) => allows(word, each)) && !grantsAnything(word));
}

const grantsAnything = (word: string): boolean =>
  ['Observation', 'Provenance', 'Device', 'DeviceUseStatement', 'AuditEvent'].some((type) =>
    (['c', 'r', 'u', 's'] as const).some((action) => allows(word, { type, action })),
  );
