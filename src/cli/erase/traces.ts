/** What is left of erased rows in files: free pages, the write-ahead log, and what was made from the ledger. */
import { existsSync, readdirSync, rmSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { syncFolder } from '../../escrow/durable-file.ts';
import { indexFileOf } from '../../search/held.ts';
import { keptFileOf } from '../../store/sqlite/kept-file.ts';
import { createPrivate, openWriter } from '../../store/sqlite/open.ts';
import { claimOwnership } from '../../store/sqlite/owner.ts';

/** While it is there, an erasure was begun and its traces may be left. It says nothing of whom. */
const markOf = (database: string): string => `${database}.erasing`;

export const mayHaveTraces = (database: string): boolean => existsSync(markOf(database));

/** To be called before anything is erased. */
export async function expectTraces(database: string): Promise<void> {
  createPrivate(markOf(database));
  await syncFolder(dirname(database));
}

/**
 * Writes the database anew without what was deleted, and removes what is made again when it is asked for. To be done once
 * more does no harm.
 * @param exports folder of bulk exports
 * @throws {Error} while a process has the database
 */
export async function removeTraces(database: string, exports: string): Promise<void> {
  const owner = claimOwnership(database);
  try {
    const db = openWriter(database);
    try {
      // Deleted rows stay readable in free pages, and their older copies in the log, until both are written over.
      db.exec('VACUUM');
      db.pragma('wal_checkpoint(TRUNCATE)');
    } finally {
      db.close();
    }
    for (const file of [indexFileOf(database), keptFileOf(database)])
      for (const suffix of ['', '-wal', '-shm', '-journal']) rmSync(file + suffix, { force: true });
    if (existsSync(exports))
      for (const job of readdirSync(exports)) rmSync(join(exports, job), { recursive: true });
    rmSync(markOf(database), { force: true });
    await syncFolder(dirname(database));
  } finally {
    owner.release();
  }
}
