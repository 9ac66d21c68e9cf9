import { createHash } from 'node:crypto';
import type { Identifier } from '../domain/entry.ts';

const ALPHABET = 'abcdefghijklmnopqrstuvwxyz234567';

/**
 * A short stable name for an identifier: the first 80 bits of its SHA-256 in base 32 (RFC 4648 alphabet, lower case).
 * Made from the sender's key, so that a ledger restored and sent the same messages again gives the same FHIR ids.
 */
export function nameOf({ system, value }: Identifier): string {
  const digest = createHash('sha256').update(`${system}\n${value}`).digest();
  let bits = digest.readBigUInt64BE(0) * 65536n + BigInt(digest.readUInt16BE(8));
  let name = '';
  for (let i = 0; i < 16; i += 1) {
    name = ALPHABET.charAt(Number(bits % 32n)) + name;
    bits /= 32n;
  }
  return name;
}

export const hashOf = (text: string): string => createHash('sha256').update(text).digest('hex');
