import { existsSync, readFileSync, realpathSync, renameSync, rmSync, writeFileSync } from 'node:fs';
import { basename, dirname, join } from 'node:path';
import Database from 'better-sqlite3';
import { createPrivate } from './open.ts';

// Long enough for two processes that start at the same instant to settle who is first; with no wait at all
// each can block the other and both be refused.
const SETTLE_MS = 50;

// A connection nobody refers to is closed by the garbage collector, and its lock would go with it.
const held = new Set<Database.Database>();

/** The right to be the only process that uses a database. */
export interface Ownership {
  /** Gives the database up so that another process can claim it; a second call does nothing. */
  release(): void;
}

/**
 * Claims a database for this process, or throws at once naming the process that has it.
 *
 * The claim is an exclusive lock on `<file>.owner`, which the kernel frees however this process ends, so
 * nothing has to be cleaned up after a crash. `<file>.owner.txt` only tells people who holds it.
 */
export function claimOwnership(file: string): Ownership {
  const real = resolveLinks(file);
  const lockFile = `${real}.owner`;
  const noteFile = `${real}.owner.txt`;
  const db = lock(real, lockFile, noteFile);
  try {
    writeNote(noteFile);
  } catch (cause) {
    db.close();
    throw new Error(`cannot write ${noteFile}: ${String(cause)}; let this user write there`, { cause });
  }
  held.add(db);
  return {
    release() {
      if (!held.delete(db)) return;
      // The note goes first: once the lock is free, the note may be the next owner's.
      rmSync(noteFile, { force: true });
      db.close();
    },
  };
}

function lock(file: string, lockFile: string, noteFile: string): Database.Database {
  createPrivate(lockFile);
  const db = new Database(lockFile, { timeout: SETTLE_MS });
  try {
    db.exec('BEGIN EXCLUSIVE');
    return db;
  } catch (cause) {
    db.close();
    if (cause instanceof Database.SqliteError && cause.code.startsWith('SQLITE_BUSY')) {
      throw new Error(
        `the database ${file} is in use by another process: ${readNote(noteFile)}; ` +
          `stop that process or give this one a database of its own`,
        { cause },
      );
    }
    throw new Error(
      `cannot lock ${lockFile}: ${String(cause)}; it holds no data, so move it away if no process uses it`,
      { cause },
    );
  }
}

/** Two paths that lead to one database have to meet at one lock. */
function resolveLinks(file: string): string {
  try {
    return existsSync(file) ? realpathSync(file) : join(realpathSync(dirname(file)), basename(file));
  } catch (cause) {
    throw new Error(`cannot claim ${file}: ${String(cause)}; create its folder first`, { cause });
  }
}

function writeNote(noteFile: string): void {
  const startedAt = new Date(Date.now() - process.uptime() * 1000).toISOString();
  const draft = `${noteFile}.${process.pid}`;
  // Renaming keeps a refused process from reading half a note.
  writeFileSync(draft, `pid ${process.pid}, started ${startedAt}\n`, { mode: 0o600 });
  renameSync(draft, noteFile);
}

function readNote(noteFile: string): string {
  try {
    return readFileSync(noteFile, 'utf8').trim();
  } catch {
    // The owner writes the note just after it takes the lock and removes it just before it lets go.
    return `its process is starting or stopping and has no note in ${noteFile}`;
  }
}
