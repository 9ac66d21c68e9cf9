/** Files that only their owner may read. */
import { closeSync, fstatSync, openSync, readFileSync } from 'node:fs';

const OTHERS = 0o077;

/** @throws {Error} naming the file and the mend; never with what is in it */
export function readSecret(path: string): string {
  const fd = openSync(path, 'r');
  try {
    // Asked of the open file: its name may lead elsewhere a moment later.
    const mode = fstatSync(fd).mode & 0o777;
    if ((mode & OTHERS) !== 0)
      throw new Error(`${path} can be read by others (mode ${mode.toString(8)}): chmod 600 it`);
    return readFileSync(fd, 'utf8');
  } finally {
    closeSync(fd);
  }
}
