import { createHash } from 'node:crypto';
import { mkdirSync, mkdtempSync, renameSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type Database from 'better-sqlite3';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { migrate } from '../../src/store/sqlite/migrate.ts';
import { openWriter } from '../../src/store/sqlite/open.ts';

const CREATE = 'CREATE TABLE reading (id INTEGER PRIMARY KEY) STRICT;\n';
const WIDEN = 'ALTER TABLE reading ADD COLUMN millilitres INTEGER;\n';

let root = '';
let folder = '';
let db: Database.Database;

beforeEach(() => {
  root = mkdtempSync(join(tmpdir(), 'drainledger-migrate-'));
  folder = join(root, 'migrations');
  mkdirSync(folder);
  db = openWriter(join(root, 'ledger.db'));
});

afterEach(() => {
  db.close();
  rmSync(root, { recursive: true });
});

function put(fileName: string, sql: string): void {
  writeFileSync(join(folder, fileName), sql);
}

function sha256(text: string): string {
  return createHash('sha256').update(text).digest('hex');
}

function tables(): unknown[] {
  return db.prepare("SELECT name FROM sqlite_schema WHERE type = 'table' ORDER BY name").pluck().all();
}

function history(): unknown[] {
  return db.prepare('SELECT number, name, sha256 FROM schema_migration ORDER BY number').all();
}

test('applies what is due in order, records it, and does nothing the second time', () => {
  put('0002-widen.sql', WIDEN);
  put('0001-create.sql', CREATE);
  const both = [
    { number: 1, name: 'create', sha256: sha256(CREATE) },
    { number: 2, name: 'widen', sha256: sha256(WIDEN) },
  ];
  expect(migrate(db, folder)).toEqual(both);
  expect(history()).toEqual(both);
  expect(migrate(db, folder)).toEqual([]);
});

test('applies only what has been added since', () => {
  put('0001-create.sql', CREATE);
  migrate(db, folder);
  put('0002-widen.sql', WIDEN);
  expect(migrate(db, folder).map(({ number }) => number)).toEqual([2]);
  expect(db.prepare('SELECT millilitres FROM reading').all()).toEqual([]);
});

test('records when each was applied, in UTC, in a strict table', () => {
  put('0001-create.sql', CREATE);
  const before = Date.now();
  migrate(db, folder);
  const appliedAt = String(db.prepare('SELECT applied_at FROM schema_migration').pluck().get());
  expect(appliedAt).toMatch(/^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z$/);
  expect(Math.abs(Date.parse(appliedAt) - before)).toBeLessThan(5000);
  expect(() => db.exec("UPDATE schema_migration SET name = x'00'")).toThrow(/cannot store BLOB/);
});

test('leaves other files in the folder alone', () => {
  put('0001-create.sql', CREATE);
  put('README.md', 'not a migration');
  expect(migrate(db, folder)).toHaveLength(1);
});

test('refuses a database that a newer program has migrated', () => {
  put('0001-create.sql', CREATE);
  put('0002-widen.sql', WIDEN);
  migrate(db, folder);
  rmSync(join(folder, '0002-widen.sql'));
  expect(() => migrate(db, folder)).toThrow(
    /this program is older than the database; .*0002-widen\.sql.*0001-create\.sql; install the release/,
  );
});

test('refuses an applied migration whose file has changed', () => {
  put('0001-create.sql', CREATE);
  migrate(db, folder);
  put('0001-create.sql', `${CREATE}-- one more line\n`);
  put('0002-widen.sql', WIDEN);
  expect(() => migrate(db, folder)).toThrow(/0001-create\.sql has sha256 .* in a new migration/);
  expect(history()).toHaveLength(1);
});

test('refuses a history with a hole in it', () => {
  put('0001-create.sql', CREATE);
  put('0002-widen.sql', WIDEN);
  migrate(db, folder);
  db.exec('DELETE FROM schema_migration WHERE number = 1');
  expect(() => migrate(db, folder)).toThrow(/0001-create\.sql is missing from .*schema_migration.*backup/);
});

test('refuses a gap in the numbers, before it applies anything', () => {
  put('0001-create.sql', CREATE);
  put('0003-widen.sql', WIDEN);
  expect(() => migrate(db, folder)).toThrow(/0003-widen\.sql comes where number 0002 is due; restore/);
  expect(tables()).toEqual([]);
});

test('refuses numbers that do not start at 0001', () => {
  put('0000-create.sql', CREATE);
  expect(() => migrate(db, folder)).toThrow(/0000-create\.sql comes where number 0001 is due/);
});

test('refuses two files with one number, naming both', () => {
  put('0001-create.sql', CREATE);
  put('0001-widen.sql', WIDEN);
  expect(() => migrate(db, folder)).toThrow(
    /0001-create\.sql and .*0001-widen\.sql have one number; renumber/,
  );
});

test.each(['1-create.sql', '0001_create.sql', '0001-Create.sql', '00001-create.sql'])(
  'refuses the name %s',
  (name) => {
    put(name, CREATE);
    expect(() => migrate(db, folder)).toThrow(`${name} is not named NNNN-name.sql`);
  },
);

test('refuses a folder without migrations and a folder that is not there', () => {
  expect(() => migrate(db, folder)).toThrow(`no NNNN-name.sql in ${folder}`);
  renameSync(folder, `${folder}-moved`);
  expect(() => migrate(db, folder)).toThrow(`cannot read the migrations folder ${folder}`);
});

test('a migration that fails is undone as a whole and those before it stay', () => {
  put('0001-create.sql', CREATE);
  put('0002-broken.sql', 'CREATE TABLE half (id INTEGER) STRICT; INSERT INTO nowhere VALUES (1);');
  expect(() => migrate(db, folder)).toThrow(/0002-broken\.sql failed: .*no such table: nowhere; correct it/);
  expect(tables()).toEqual(['reading', 'schema_migration']);
  expect(history()).toHaveLength(1);
});

test('says so when a migration ends the transaction it runs in', () => {
  put('0001-create.sql', `${CREATE}COMMIT;`);
  expect(() => migrate(db, folder)).toThrow(/0001-create\.sql failed: .*remove its COMMIT or ROLLBACK/);
  expect(history()).toEqual([]);
});
