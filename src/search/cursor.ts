/**
 * Where a page of a search ended, and of which search, as text that only this index can read: a link to the next page
 * carries nothing about a patient, and nobody can make one up.
 */
import { createCipheriv, createDecipheriv, randomBytes } from 'node:crypto';
import { deflateRawSync, inflateRawSync } from 'node:zlib';
import { Refused } from '../fhir/search/refused.ts';

export interface Seal {
  seal(content: object): string;
  /** @throws {Refused} when it was not made here, or by an index that is gone */
  unseal(text: string): unknown;
}

const CIPHER = 'aes-256-gcm';
const NONCE_BYTES = 12;
const TAG_BYTES = 16;

export function createSeal(key: Buffer): Seal {
  return {
    seal(content) {
      const nonce = randomBytes(NONCE_BYTES);
      const cipher = createCipheriv(CIPHER, key, nonce);
      const sealed = Buffer.concat([cipher.update(deflateRawSync(JSON.stringify(content))), cipher.final()]);
      return Buffer.concat([nonce, cipher.getAuthTag(), sealed]).toString('base64url');
    },
    unseal(text) {
      try {
        const bytes = Buffer.from(text, 'base64url');
        const decipher = createDecipheriv(CIPHER, key, bytes.subarray(0, NONCE_BYTES), {
          authTagLength: TAG_BYTES,
        });
        decipher.setAuthTag(bytes.subarray(NONCE_BYTES, NONCE_BYTES + TAG_BYTES));
        const opened = Buffer.concat([
          decipher.update(bytes.subarray(NONCE_BYTES + TAG_BYTES)),
          decipher.final(),
        ]);
        return JSON.parse(inflateRawSync(opened).toString());
      } catch {
        throw new Refused(
          400,
          'invalid',
          '_page is no link that was given here, or its index was made anew: search again',
        );
      }
    },
  };
}
