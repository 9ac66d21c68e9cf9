/**
 * One hash chain a stream. An entry's envelope names the hash before it and commits to its payload and to the
 * resources issued with it; both sit behind a salt, so that a lawful erasure leaves the chain whole and a proof of
 * one entry gives nothing away of another. Bytes 0x02, 0x03, 0x04 keep the three kinds of hash apart.
 */
import { createHash } from 'node:crypto';
import type { Author } from '../domain/entry.ts';
import { writeCanonical } from '../json/canonical.ts';

export interface Envelope {
  readonly v: 1;
  readonly origin: string;
  readonly stream: string;
  readonly seq: number;
  /** Hash of the entry before, hex; of seq 1, {@link genesis}. */
  readonly prev: string;
  readonly entry: string;
  readonly type: string;
  readonly actor: Author;
  readonly effective_at: string;
  readonly recorded_at: string;
  /** The identifier that a correction or retraction names. */
  readonly supersedes: string | null;
  readonly payload: string;
  readonly issued: string;
}

const sha256 = (...parts: readonly (string | Uint8Array)[]): Buffer => {
  const hash = createHash('sha256');
  for (const part of parts) hash.update(part);
  return hash.digest();
};

const PAYLOAD = Uint8Array.of(0x02);
const ENTRY = Uint8Array.of(0x03);
const ISSUED = Uint8Array.of(0x04);

export function genesis(origin: string, stream: string): string {
  return sha256('genesis', origin, stream).toString('hex');
}

/** SHA-256(0x02 || salt || payload), hex. */
export function payloadCommitment(salt: Uint8Array, payload: string): string {
  return sha256(PAYLOAD, salt, payload).toString('hex');
}

/** SHA-256(0x04 || salt || each issued text with a line feed after it), hex. */
export function issuedCommitment(salt: Uint8Array, texts: readonly string[]): string {
  return sha256(ISSUED, salt, texts.map((text) => `${text}\n`).join('')).toString('hex');
}

export function writeEnvelope(envelope: Envelope): string {
  return writeCanonical(envelope, () => undefined);
}

/** SHA-256(0x03 || envelope bytes), hex. */
export function entryHash(envelope: string): string {
  return sha256(ENTRY, envelope).toString('hex');
}
