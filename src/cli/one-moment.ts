import type Database from 'better-sqlite3';
import { openReader } from '../store/sqlite/open.ts';

/** Reads one moment of a ledger that may be written to meanwhile. */
export function atOneMoment<T>(database: string, read: (db: Database.Database) => T): T {
  const db = openReader(database);
  try {
    db.exec('BEGIN');
    return read(db);
  } finally {
    db.close();
  }
}
