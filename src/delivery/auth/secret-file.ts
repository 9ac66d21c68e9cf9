/** Files that only their owner may read. */
import { readFileSync, statSync } from 'node:fs';

const OTHERS = 0o077;

/** @throws {Error} naming the file and the mend; never with what is in it */
export function readSecret(path: string): string {
  const mode = statSync(path).mode & 0o777;
  if ((mode & OTHERS) !== 0)
    throw new Error(`${path} can be read by others (mode ${mode.toString(8)}): chmod 600 it`);
  return readFileSync(path, 'utf8');
}
