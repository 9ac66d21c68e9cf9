/** What the command line writes, and how it ends where that is cut: as Unix tools do, and under no name that it could be taken by. */
import { existsSync, renameSync, rmSync } from 'node:fs';
import { dirname, resolve } from 'node:path';
import { syncFolder } from '../escrow/durable-file.ts';

/** EX_IOERR of sysexits.h. */
export const EXIT_NOT_WRITTEN = 74;
/** As a shell tells of SIGPIPE, which Node ignores: 128 + 13. */
const EXIT_PIPE = 141;

/** Where it should be cannot take it: the disk is full, or is no longer there. */
export class CannotWrite extends Error {}

/** Ends the process where standard output is cut: quietly where whoever read it has enough. */
export function mindOutput(): void {
  const end = (error: NodeJS.ErrnoException): void => {
    if (error.code === 'EPIPE') process.exit(EXIT_PIPE);
    process.stderr.write(`standard output cannot be written: ${error.message}\n`);
    process.exit(EXIT_NOT_WRITTEN);
  };
  process.stdout.on('error', end);
  process.stderr.on('error', () => process.exit(EXIT_PIPE));
}

export const print = (line: string): void => {
  process.stdout.write(`${line}\n`);
};

/** Standard output is not ours to end, so nothing waits for its last pages: a process that ends at once would lose them. */
export const outputWritten = (): Promise<void> =>
  new Promise((done) => {
    process.stdout.write('', () => done());
  });

/**
 * Writes a file or folder under another name until all of it is on disk.
 * @param write is given that name @throws {CannotWrite} where the disk does not take it
 */
export async function whole<T>(out: string, write: (draft: string) => T | Promise<T>): Promise<T> {
  const path = resolve(out);
  if (existsSync(path)) throw new Error(`${out} is there already: give a new path`);
  const draft = `${path}.draft`;
  rmSync(draft, { recursive: true, force: true });
  try {
    const made = await write(draft);
    renameSync(draft, path);
    await syncFolder(dirname(path));
    return made;
  } catch (cause) {
    if (!isOfDisk(cause)) throw cause;
    throw new CannotWrite(`${out} cannot be written: ${cause.message}`, { cause });
  } finally {
    rmSync(draft, { recursive: true, force: true });
  }
}

/** As the system calls it, or SQLite. */
const OF_DISK = /^(ENOSPC|EDQUOT|EFBIG|EIO|EROFS|EACCES|ENOENT|ENOTDIR|SQLITE_FULL|SQLITE_IOERR.*)$/;
const isOfDisk = (error: unknown): error is Error =>
  error instanceof Error && 'code' in error && OF_DISK.test(String(error.code));
