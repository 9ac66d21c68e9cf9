import { hash } from 'node:crypto';
import type { Identifier } from '../domain/vocabulary/entry.ts';

const ALPHABET = 'abcdefghijklmnopqrstuvwxyz234567';

/**
 * A short stable name for an identifier: the first 80 bits of its SHA-256 in base 32 (RFC 4648 alphabet, lower case).
 * Made from the sender's key, so that a ledger restored and sent the same messages again gives the same FHIR ids.
 */
export const nameOf = ({ system, value }: Identifier): string => nameOfText(`${system}\n${value}`);

/** The same for any text. */
export function nameOfText(text: string): string {
  const digest = hash('sha256', text, 'buffer');
  let name = '';
  // Five bytes are eight characters: two rounds of 40 bits, each exact in a double.
  for (const start of [0, 5]) {
    let bits = digest.readUIntBE(start, 5);
    let characters = '';
    for (let i = 0; i < 8; i += 1) {
      characters = ALPHABET.charAt(bits % 32) + characters;
      bits = Math.floor(bits / 32);
    }
    name += characters;
  }
  return name;
}

export const hashOf = (text: string): string => hash('sha256', text, 'hex');
