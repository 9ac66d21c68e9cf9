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
  const codes = new Array<number>(16);
  // Five bytes are eight characters: two rounds of 40 bits, each exact in a double.
  for (const round of [0, 1]) {
    let bits = digest.readUIntBE(5 * round, 5);
    for (let i = 7; i >= 0; i -= 1) {
      codes[8 * round + i] = ALPHABET.charCodeAt(bits % 32);
      bits = Math.floor(bits / 32);
    }
  }
  // At once: a name put together of parts keeps them beside it for as long as it is kept, and names are kept for long.
  return String.fromCharCode(...codes);
}

export const hashOf = (text: string): string => hash('sha256', text, 'hex');
