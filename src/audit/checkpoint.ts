/**
 * Checkpoints: what a log says of itself at one moment, signed. The text is that of C2SP tlog-checkpoint in a C2SP
 * signed-note with Ed25519 (RFC 8032), so that tools made for other logs can read, verify and keep it.
 */
import { createPublicKey, hash, type KeyObject, sign, verify } from 'node:crypto';
import type { Hash, Head } from './merkle.ts';

export interface Checkpoint extends Head {
  /** Name of the log: see {@link originOf}. */
  readonly origin: string;
}

/** The 32 bytes of an Ed25519 public key. */
export type PublicKey = Buffer;

/** A checkpoint as it was read, with what is needed to judge its signatures. */
export interface Note extends Checkpoint {
  /** What was signed. */
  readonly body: string;
  readonly signatures: readonly { readonly name: string; readonly keyId: string; readonly bytes: Buffer }[];
}

const ED25519 = 0x01;
/** Of a SubjectPublicKeyInfo of Ed25519, before the key's 32 bytes (RFC 8410, section 4). */
const SPKI_OPENING = Buffer.from('302a300506032b6570032100', 'hex');

/**
 * The name a log signs under. A log that goes on after entries were lost is another log from there: no log may sign two
 * histories that contradict each other (C2SP tlog-checkpoint).
 * @param restores how often that was accepted, from 0
 */
export const originOf = (log: string, restores: number): string =>
  restores === 0 ? log : `${log}/restored-${restores}`;

/** The log that signed under a name that {@link originOf} gave. */
export const logOf = (origin: string): string => origin.replace(/\/restored-[1-9]\d{0,5}$/, '');

/** How often the log of this name had been restored when it signed as `origin`; undefined where it is another's name. */
export function restoresIn(origin: string, log: string): number | undefined {
  if (origin === log) return 0;
  const [, count] = origin.startsWith(log)
    ? (/^\/restored-([1-9]\d{0,5})$/.exec(origin.slice(log.length)) ?? [])
    : [];
  return count === undefined ? undefined : Number(count);
}

export function writeBody({ origin, size, root }: Checkpoint): string {
  return `${origin}\n${size}\n${root.toString('base64')}\n`;
}

/** @param key private Ed25519 key */
export function signCheckpoint(checkpoint: Checkpoint, key: KeyObject): string {
  const body = writeBody(checkpoint);
  const id = Buffer.from(keyIdOf(checkpoint.origin, rawPublicKey(key)), 'hex');
  const signature = Buffer.concat([id, sign(null, Buffer.from(body), key)]).toString('base64');
  return `${body}\n— ${checkpoint.origin} ${signature}\n`;
}

const NOTE =
  /^(([^\s+]+)\n(0|[1-9]\d{0,15})\n([A-Za-z0-9+/]{43}=)\n)(?:\n((?:— [^\s+]+ [A-Za-z0-9+/]+={0,2}\n)+))?$/;

/** Reads a checkpoint, signed or not; undefined where the text is none. */
export function readCheckpoint(text: string): Note | undefined {
  const [, body, origin, size, root, lines = ''] = NOTE.exec(text) ?? [];
  if (body === undefined || origin === undefined || root === undefined) return undefined;
  const signatures = lines
    .split('\n')
    .slice(0, -1)
    .map((line) => {
      const [, name = '', base64 = ''] = line.split(' ');
      const bytes = Buffer.from(base64, 'base64');
      return { name, keyId: bytes.subarray(0, 4).toString('hex'), bytes: bytes.subarray(4) };
    });
  return { body, origin, size: Number(size), root: Buffer.from(root, 'base64'), signatures };
}

/** By which of these keys the log signed it: null where by none of them, false where it claims to be and is not. */
export function signerOf(note: Note, keys: readonly PublicKey[]): PublicKey | null | false {
  for (const key of keys) {
    const keyId = keyIdOf(note.origin, key);
    const claimed = note.signatures.find((each) => each.name === note.origin && each.keyId === keyId);
    if (claimed !== undefined) return isSignature(claimed.bytes, Buffer.from(note.body), key) && key;
  }
  return null;
}

export function isSignature(signature: Buffer, signed: Buffer, key: PublicKey): boolean {
  const spki = createPublicKey({ key: Buffer.concat([SPKI_OPENING, key]), format: 'der', type: 'spki' });
  return verify(null, signed, spki, signature);
}

/** Of a private or public Ed25519 key. */
export function rawPublicKey(key: KeyObject): PublicKey {
  const spki = createPublicKey(key as Parameters<typeof createPublicKey>[0]).export({
    format: 'der',
    type: 'spki',
  });
  return Buffer.from(spki.subarray(SPKI_OPENING.length));
}

/** First four bytes of SHA-256(name || LF || kind of signature || key), hex. */
export function keyIdOf(name: string, key: PublicKey, kind = ED25519): string {
  const named = Buffer.concat([Buffer.from(`${name}\n`), Buffer.of(kind), key]);
  return hash('sha256', named, 'hex').slice(0, 8);
}

/** A public key as C2SP signed-note writes it, such as `log.example+1a2b3c4d+AQ…`. */
export function writeVerifierKey(name: string, key: PublicKey, kind = ED25519): string {
  return `${name}+${keyIdOf(name, key, kind)}+${Buffer.concat([Buffer.of(kind), key]).toString('base64')}`;
}

export interface VerifierKey {
  readonly name: string;
  readonly key: PublicKey;
}

/** Reads what {@link writeVerifierKey} writes; undefined where the text is none, or is not whole. */
export function readVerifierKey(text: string, due = ED25519): VerifierKey | undefined {
  const [, name, keyId, base64] = /^([^\s+]+)\+([0-9a-f]{8})\+([A-Za-z0-9+/]+=*)$/.exec(text.trim()) ?? [];
  if (name === undefined || base64 === undefined) return undefined;
  const [kind, ...key] = Buffer.from(base64, 'base64');
  const raw: Hash = Buffer.from(key);
  return kind === due && raw.length === 32 && keyId === keyIdOf(name, raw, due)
    ? { name, key: raw }
    : undefined;
}

/** A proof that one entry is in the log, whole in itself: C2SP tlog-proof. */
export function writeProof(index: number, proof: readonly Hash[], checkpoint: string): string {
  const hashes = proof.map((each) => `${each.toString('base64')}\n`).join('');
  return `c2sp.org/tlog-proof@v1\nindex ${index}\n${hashes}\n${checkpoint}`;
}
