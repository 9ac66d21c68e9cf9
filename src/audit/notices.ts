/** What the log says of itself in entries of its own: which key signs it from where on, and what a person accepted. */
import { type KeyObject, sign } from 'node:crypto';
import { writeCanonical } from '../json/canonical.ts';
import { isSignature, type PublicKey, rawPublicKey } from './checkpoint.ts';

/** A key, and the entry that names it: it signs every checkpoint from there until the next one. */
export interface KeyInLog {
  readonly logIndex: number;
  readonly key: PublicKey;
  /** Why it stands in place of one that was lost; null where that one handed over to it, or there was none. */
  readonly replaces: string | null;
}

interface Said {
  readonly logIndex: number;
  readonly type: string;
  readonly body: string;
}

const canonical = (value: object): string => writeCanonical(value, () => undefined);

/** Names the first key of a log. */
export const writeFirstKey = (key: PublicKey): string => canonical({ key: key.toString('base64') });

/** Hands the log over: the old key says which is the next. */
export function writeRotation(log: string, old: KeyObject, next: PublicKey): string {
  const previous = rawPublicKey(old);
  const signature = sign(null, rotationText(log, previous, next), old).toString('base64');
  return canonical({ key: next.toString('base64'), previous: previous.toString('base64'), signature });
}

/** Names a key in place of one that is lost: nothing vouches for it but who says so. */
export const writeReplacement = (lost: PublicKey, next: PublicKey, reason: string): string =>
  canonical({ key: next.toString('base64'), lost: lost.toString('base64'), reason });

function rotationText(log: string, previous: PublicKey, next: PublicKey): Buffer {
  return Buffer.from(
    `drainledger checkpoint key\n${log}\n${previous.toString('base64')}\n${next.toString('base64')}\n`,
  );
}

/**
 * The keys of a log, oldest first.
 * @throws {Error} naming the entry by which a key was not handed over as it must be
 */
export function readKeys(log: string, notices: readonly Said[]): readonly KeyInLog[] {
  const keys: KeyInLog[] = [];
  for (const { logIndex, type, body } of notices) {
    if (type !== 'checkpoint-key') continue;
    const { key, ...said } = JSON.parse(body) as Partial<Record<string, string>>;
    const next = Buffer.from(key ?? '', 'base64');
    const last = keys.at(-1)?.key;
    if (next.length !== 32) throw new Error(`entry ${logIndex} names no Ed25519 key`);
    const replaces = said.lost === undefined ? null : (said.reason ?? '');
    if (replaces !== null && last?.equals(Buffer.from(said.lost ?? '', 'base64')) !== true)
      throw new Error(`entry ${logIndex} names a key in place of one that was not in use`);
    if (replaces === null && last !== undefined && !isHandedOver(log, last, next, said))
      throw new Error(`entry ${logIndex} names a new key, and the key before it did not sign that`);
    keys.push({ logIndex, key: next, replaces });
  }
  return keys;
}

function isHandedOver(
  log: string,
  last: PublicKey,
  next: PublicKey,
  { previous = '', signature = '' }: Partial<Record<string, string>>,
): boolean {
  if (!last.equals(Buffer.from(previous, 'base64'))) return false;
  return isSignature(Buffer.from(signature, 'base64'), rotationText(log, last, next), last);
}

/** Those that one another handed the log to, up to now: none from before a lost one was replaced can vouch for it. */
export const keysInUse = (keys: readonly KeyInLog[]): readonly KeyInLog[] =>
  keys.slice(
    Math.max(
      0,
      keys.findLastIndex(({ replaces }) => replaces !== null),
    ),
  );

/** A head that is not part of the history any more. */
export interface GivenUp {
  /** Where it was found. */
  readonly where: string;
  readonly origin: string;
  readonly size: number;
  /** Base64. */
  readonly root: string;
}

export interface Restored {
  readonly reason: string;
  /** What was wrong, in words. */
  readonly doubt: string;
  readonly given_up: readonly GivenUp[];
}

export const writeRestored = (said: Restored): string => canonical(said);

/** The entries by which a person accepted that the log goes on from what was left of it. */
export const restoresOf = <T extends Said>(notices: readonly T[]): readonly T[] =>
  notices.filter(({ type }) => type === 'restored');
