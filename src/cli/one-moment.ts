import { fileURLToPath } from 'node:url';
import type Database from 'better-sqlite3';
import { isOfThisRelease } from '../store/sqlite/migrate.ts';
import { openReader } from '../store/sqlite/open.ts';

export const MIGRATIONS = fileURLToPath(new URL('../../migrations', import.meta.url));

/** A connection to one moment of a ledger that may be written to meanwhile. @throws {Error} where it is of another release */
export function openMoment(database: string): Database.Database {
  const db = openReader(database);
  try {
    const isOurs = isOfThisRelease(db, MIGRATIONS);
    if (isOurs === null) throw new Error(`${database} is a database, and holds no ledger`);
    if (!isOurs)
      throw new Error(
        `${database} is of another release: start the service of this one on it first, or use the one that last used it`,
      );
    db.exec('BEGIN');
    return db;
  } catch (error) {
    db.close();
    throw error;
  }
}

export function atOneMoment<T>(database: string, read: (db: Database.Database) => T): T {
  const db = openMoment(database);
  try {
    return read(db);
  } finally {
    db.close();
  }
}
