import { chmodSync, mkdtempSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import Database from 'better-sqlite3';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { assertDurable, openReader, openWriter, readDurability } from '../../src/store/sqlite/open.ts';

let folder = '';
let file = '';
const opened: Database.Database[] = [];

beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'drainledger-open-'));
  file = join(folder, 'ledger.db');
});

afterEach(() => {
  for (const db of opened.splice(0)) db.close();
  rmSync(folder, { recursive: true });
});

function keep(db: Database.Database): Database.Database {
  opened.push(db);
  return db;
}

function pragma(db: Database.Database, name: string): unknown {
  return db.pragma(name, { simple: true });
}

describe('openWriter', () => {
  test('sets everything durability and safety rest on', () => {
    const db = keep(openWriter(file));
    expect({
      journal_mode: pragma(db, 'journal_mode'),
      synchronous: pragma(db, 'synchronous'),
      foreign_keys: pragma(db, 'foreign_keys'),
      busy_timeout: pragma(db, 'busy_timeout'),
      journal_size_limit: pragma(db, 'journal_size_limit'),
      wal_autocheckpoint: pragma(db, 'wal_autocheckpoint'),
      trusted_schema: pragma(db, 'trusted_schema'),
      cell_size_check: pragma(db, 'cell_size_check'),
      cache_size: pragma(db, 'cache_size'),
    }).toEqual({
      journal_mode: 'wal',
      synchronous: 2,
      foreign_keys: 1,
      busy_timeout: 250,
      journal_size_limit: 67_108_864,
      wal_autocheckpoint: 1000,
      trusted_schema: 0,
      cell_size_check: 1,
      cache_size: -65_536,
    });
  });

  test('creates the database and its write-ahead log for this user only', () => {
    const db = keep(openWriter(file));
    db.exec('CREATE TABLE t (a INTEGER)');
    for (const name of [file, `${file}-wal`, `${file}-shm`]) {
      expect(statSync(name).mode & 0o777, name).toBe(0o600);
    }
  });

  test('leaves the mode and the content of a database that exists alone', () => {
    const first = openWriter(file);
    first.exec('CREATE TABLE kept (a INTEGER)');
    first.close();
    chmodSync(file, 0o640);
    const db = keep(openWriter(file));
    expect(statSync(file).mode & 0o777).toBe(0o640);
    expect(db.prepare('SELECT count(*) FROM kept').pluck().get()).toBe(0);
  });

  test('names the folder that is missing', () => {
    expect(() => openWriter(join(folder, 'nowhere', 'ledger.db'))).toThrow(
      /cannot create .*nowhere\/ledger\.db.*create its folder/,
    );
  });

  test('names a file that is not a database', () => {
    writeFileSync(file, 'a text that is no database, long enough to fill the header of one. '.repeat(20));
    expect(() => openWriter(file)).toThrow(
      /cannot open the database .*ledger\.db for writing: .*not a database/,
    );
  });
});

describe('assertDurable', () => {
  const sound = { journalMode: 'wal', synchronous: 2, sqliteVersion: '3.51.3' };

  test.each(['3.51.3', '3.51.10', '3.60.0', '4.0.0'])('accepts SQLite %s', (sqliteVersion) => {
    expect(() => assertDurable(file, { ...sound, sqliteVersion })).not.toThrow();
  });

  test.each(['3.51.2', '3.6.22', '3.50.7', '2.99.99', '3.52', ''])('refuses SQLite "%s"', (sqliteVersion) => {
    expect(() => assertDurable(file, { ...sound, sqliteVersion })).toThrow(
      `sqlite_version() is ${sqliteVersion}, but releases before 3.51.3`,
    );
  });

  test('refuses a real connection that the driver left at synchronous = NORMAL', () => {
    const db = keep(new Database(file));
    db.pragma('journal_mode = WAL');
    expect(() => assertDurable(file, readDurability(db))).toThrow(
      /ledger\.db: synchronous is 1, but .* 2 \(FULL\)/,
    );
  });

  test('refuses a real connection that keeps a rollback journal', () => {
    const db = keep(new Database(file));
    expect(() => assertDurable(file, readDurability(db))).toThrow(/ledger\.db: journal_mode is 'delete'/);
  });
});

describe('openReader', () => {
  test('reads what the writer commits and cannot write', () => {
    const writer = keep(openWriter(file));
    writer.exec('CREATE TABLE t (a INTEGER)');
    const reader = keep(openReader(file));
    writer.exec('INSERT INTO t VALUES (7)');
    expect(reader.prepare('SELECT a FROM t').pluck().get()).toBe(7);
    expect(() => reader.exec('INSERT INTO t VALUES (8)')).toThrow(/readonly/);
    expect(reader.readonly).toBe(true);
    expect(pragma(reader, 'query_only')).toBe(1);
    expect(pragma(reader, 'trusted_schema')).toBe(0);
    expect(pragma(reader, 'busy_timeout')).toBe(250);
  });

  test('opens a database whose writer has gone', () => {
    openWriter(file).close();
    expect(keep(openReader(file)).open).toBe(true);
  });

  test('does not create a database that is missing', () => {
    expect(() => openReader(file)).toThrow(/cannot open the database .*ledger\.db for reading/);
  });

  test('notices at once that a file is not a database', () => {
    writeFileSync(file, 'a text that is no database, long enough to fill the header of one. '.repeat(20));
    expect(() => openReader(file)).toThrow(/for reading: .*not a database/);
  });
});
