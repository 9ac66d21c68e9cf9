import { closeSync, openSync } from 'node:fs';
import Database from 'better-sqlite3';
import { assertSafeDriver } from './driver.ts';

const MIB = 1024 * 1024;
const BUSY_TIMEOUT_MS = 250;
const SYNCHRONOUS_FULL = 2;

// Older libraries can lose committed pages when the write-ahead log restarts while a checkpoint runs.
const OLDEST_SAFE_SQLITE = '3.51.3';

/** What a connection answers about the settings its durability rests on. */
export interface DurabilitySettings {
  readonly journalMode: string;
  readonly synchronous: number;
  readonly sqliteVersion: string;
}

/**
 * Opens the one connection that may write, creating the file for its owner's eyes only (mode 0600).
 * Throws when the connection would not keep a committed reading through a loss of power.
 */
export function openWriter(file: string): Database.Database {
  assertSafeDriver();
  createPrivate(file);
  const writer = configured(file, 'writing', {}, (db) => {
    db.pragma('journal_mode = WAL');
    // The driver's build falls to NORMAL at the first read of a WAL database unless told otherwise by name.
    db.pragma('synchronous = FULL');
    db.pragma('foreign_keys = ON');
    db.pragma(`journal_size_limit = ${64 * MIB}`);
    // Where nobody leaves time for tidying, a commit does it: 15 ms or so, where 4,000 pages had taken up to a quarter of a second.
    db.pragma('wal_autocheckpoint = 1000');
    db.pragma('trusted_schema = OFF');
    db.pragma('cell_size_check = ON');
    // A negative size is counted in KiB rather than in pages.
    db.pragma(`cache_size = ${-64 * 1024}`);
  });
  try {
    assertDurable(file, readDurability(writer));
    return writer;
  } catch (cause) {
    writer.close();
    throw cause;
  }
}

/** Opens a connection that can only read; the file has to exist already. */
export function openReader(file: string): Database.Database {
  assertSafeDriver();
  return configured(file, 'reading', { readonly: true, fileMustExist: true }, (db) => {
    db.pragma('query_only = ON');
    db.pragma('trusted_schema = OFF');
    db.pragma('cell_size_check = ON');
    // Opening is lazy: without a read, a file that is no database would go unnoticed until the first query.
    db.pragma('schema_version');
  });
}

/** Asks a connection for the settings that {@link assertDurable} judges. */
export function readDurability(db: Database.Database): DurabilitySettings {
  // A silent fall to NORMAL happens at the first read of a page, so an answer from before it proves nothing.
  db.pragma('schema_version');
  return {
    journalMode: String(db.pragma('journal_mode', { simple: true })),
    synchronous: Number(db.pragma('synchronous', { simple: true })),
    sqliteVersion: String(db.prepare('SELECT sqlite_version()').pluck().get()),
  };
}

/** Throws when the library itself may harm a database. */
export function assertSafeLibrary(file: string, sqliteVersion: string): void {
  if (isAtLeast(sqliteVersion, OLDEST_SAFE_SQLITE)) return;
  throw new Error(
    `${file}: sqlite_version() is ${sqliteVersion}, but releases before ${OLDEST_SAFE_SQLITE} ` +
      'can corrupt the database when the write-ahead log is reset; install a better-sqlite3 built with ' +
      `${OLDEST_SAFE_SQLITE} or later`,
  );
}

/** Throws when settings read back from a connection would let a committed reading be lost. */
export function assertDurable(file: string, settings: DurabilitySettings): void {
  assertSafeLibrary(file, settings.sqliteVersion);
  if (settings.journalMode !== 'wal') {
    throw new Error(
      `${file}: journal_mode is '${settings.journalMode}', but it must be 'wal'; keep the database on a ` +
        `local disk that supports shared memory, and close every other program that has it open`,
    );
  }
  if (settings.synchronous !== SYNCHRONOUS_FULL) {
    throw new Error(
      `${file}: synchronous is ${settings.synchronous}, but it must be ${SYNCHRONOUS_FULL} (FULL) or a ` +
        `committed reading can be lost with the power; set it after journal_mode = WAL`,
    );
  }
}

function isAtLeast(version: string, oldest: string): boolean {
  if (!/^\d+\.\d+\.\d+$/.test(version)) return false;
  // As plain text 3.6.22 would sort after 3.51.3; numeric collation compares each run of digits as a number.
  return version.localeCompare(oldest, 'en', { numeric: true }) >= 0;
}

/**
 * Creates a missing file that only this user can read and write (mode 0600), and leaves an existing one
 * alone. Opening and closing an existing file here would drop every lock this process already holds on
 * it, because POSIX locks belong to the process and not to the descriptor.
 */
export function createPrivate(file: string): void {
  try {
    closeSync(openSync(file, 'wx', 0o600));
  } catch (cause) {
    if (cause instanceof Error && 'code' in cause && cause.code === 'EEXIST') return;
    const mend = 'create its folder and let this user write there';
    throw new Error(`cannot create ${file}: ${String(cause)}; ${mend}`, { cause });
  }
}

function configured(
  file: string,
  purpose: 'reading' | 'writing',
  options: Database.Options,
  configure: (db: Database.Database) => void,
): Database.Database {
  let db: Database.Database | undefined;
  try {
    db = new Database(file, { ...options, timeout: BUSY_TIMEOUT_MS });
    configure(db);
    return db;
  } catch (cause) {
    db?.close();
    throw new Error(
      `cannot open the database ${file} for ${purpose}: ${String(cause)}; ` +
        `check that the path is the ledger's and that this user may use it`,
      { cause },
    );
  }
}
