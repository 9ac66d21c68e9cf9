/** Fresh salts for the commitments of the ledger. */
import { randomBytes } from 'node:crypto';

const SALT_BYTES = 16;
let pool: Buffer = Buffer.alloc(0);

/** A salt of 16 bytes, cut from a pool: one call for random bytes serves 256 entries. */
export function nextSalt(): Buffer {
  if (pool.length === 0) pool = randomBytes(256 * SALT_BYTES);
  const salt = pool.subarray(0, SALT_BYTES);
  pool = pool.subarray(SALT_BYTES);
  return salt;
}
