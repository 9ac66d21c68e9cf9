import { createHash } from 'node:crypto';
import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import type Database from 'better-sqlite3';

/** One numbered step of the database's structure, as its file in the migrations folder gives it. */
export interface Migration {
  readonly number: number;
  readonly name: string;
  readonly sha256: string;
}

interface MigrationFile extends Migration {
  readonly path: string;
  readonly sql: string;
}

/**
 * Brings the database up to the newest migration in the folder, each in a transaction of its own, and
 * returns those it applied. Throws, changing nothing more, when the folder and the database disagree about
 * what has been applied or when a migration fails; earlier migrations of the same call stay applied.
 */
export function migrate(db: Database.Database, folder: string): readonly Migration[] {
  const files = readMigrations(folder);
  db.exec(
    `CREATE TABLE IF NOT EXISTS schema_migration (
       number INTEGER PRIMARY KEY, name TEXT NOT NULL, sha256 TEXT NOT NULL, applied_at TEXT NOT NULL
     ) STRICT`,
  );
  const applied = readHistory(db);
  checkHistory(applied, files, folder);
  return files.slice(applied.length).map((file) => apply(db, file));
}

/** Whether a database is as this program would leave it; null where it holds no ledger. */
export function isOfThisRelease(db: Database.Database, folder: string): boolean | null {
  const holdsOne = db.prepare("SELECT 1 FROM sqlite_schema WHERE name = 'schema_migration'").get();
  if (holdsOne === undefined) return null;
  const [has, due] = [readHistory(db), readMigrations(folder)].map((all) => all.map((each) => each.sha256));
  return has?.join() === due?.join();
}

function readMigrations(folder: string): MigrationFile[] {
  const files = listSqlFiles(folder)
    .map((fileName) => readMigration(folder, fileName))
    .sort((a, b) => a.number - b.number);
  if (files.length === 0) {
    throw new Error(`no NNNN-name.sql in ${folder}; give the migrations folder that ships with this program`);
  }
  checkNumbering(files);
  return files;
}

function listSqlFiles(folder: string): string[] {
  try {
    return readdirSync(folder).filter((entry) => entry.endsWith('.sql'));
  } catch (cause) {
    throw new Error(
      `cannot read the migrations folder ${folder}: ${String(cause)}; ` +
        `give the migrations folder that ships with this program`,
      { cause },
    );
  }
}

function readMigration(folder: string, fileName: string): MigrationFile {
  const path = join(folder, fileName);
  const [, digits, name] = /^(\d{4})-([a-z0-9-]+)\.sql$/.exec(fileName) ?? [];
  if (digits === undefined || name === undefined) {
    throw new Error(`${path} is not named NNNN-name.sql (four digits, then a-z, 0-9 and -); rename it`);
  }
  const bytes = readFileSync(path);
  const sha256 = createHash('sha256').update(bytes).digest('hex');
  return { number: Number(digits), name, sha256, path, sql: bytes.toString('utf8') };
}

function checkNumbering(files: readonly MigrationFile[]): void {
  for (const [index, file] of files.entries()) {
    const expected = index + 1;
    const previous = files[index - 1];
    if (file.number === previous?.number) {
      throw new Error(`${previous.path} and ${file.path} have one number; renumber the newer of the two`);
    }
    if (file.number !== expected) {
      throw new Error(
        `${file.path} comes where number ${padded(expected)} is due; ` +
          `restore the missing file, or renumber this one if it has never been applied`,
      );
    }
  }
}

function readHistory(db: Database.Database): Migration[] {
  return db.prepare<[], Migration>('SELECT number, name, sha256 FROM schema_migration ORDER BY number').all();
}

function checkHistory(applied: readonly Migration[], files: readonly MigrationFile[], folder: string): void {
  const newest = applied.at(-1);
  const newestKnown = files.at(-1);
  if (newest !== undefined && newestKnown !== undefined && newest.number > newestKnown.number) {
    throw new Error(
      `this program is older than the database; the database has ${fileNameOf(newest)} applied, and the ` +
        `newest in ${folder} is ${fileNameOf(newestKnown)}; install the release that last used this database`,
    );
  }
  for (const [index, file] of files.slice(0, applied.length).entries()) {
    const row = applied[index];
    if (row?.number !== file.number) {
      throw new Error(
        `${file.path} is missing from the database's schema_migration although later migrations are there; ` +
          `restore the database from a backup`,
      );
    }
    if (row.sha256 !== file.sha256) {
      throw new Error(
        `${file.path} has sha256 ${file.sha256}, but ${row.sha256} was applied to the database; ` +
          `restore the file as it was released and put the change in a new migration`,
      );
    }
  }
}

function apply(db: Database.Database, file: MigrationFile): Migration {
  const { number, name, sha256 } = file;
  const run = db.transaction(() => {
    db.exec(file.sql);
    if (!db.inTransaction) {
      throw new Error(
        'it ends the transaction it runs in, so a part of it may have stayed in the database; remove its ' +
          'COMMIT or ROLLBACK and restore the database from a backup',
      );
    }
    db.prepare(
      `INSERT INTO schema_migration (number, name, sha256, applied_at)
       VALUES (?, ?, ?, strftime('%Y-%m-%dT%H:%M:%fZ', 'now'))`,
    ).run(number, name, sha256);
  });
  try {
    // Taking the write lock first keeps a second writer from slipping in between the steps of a migration.
    run.immediate();
  } catch (cause) {
    throw new Error(`migration ${file.path} failed: ${String(cause)}; correct it and start again`, {
      cause,
    });
  }
  return { number, name, sha256 };
}

function fileNameOf(migration: Migration): string {
  return `${padded(migration.number)}-${migration.name}.sql`;
}

function padded(number: number): string {
  return String(number).padStart(4, '0');
}
