/**
 * The search index: a projection of the ledger in a SQLite file of its own. It holds no truth, so it is not synced to
 * disk, and is thrown away and made anew whenever it does not fit.
 */
import { randomBytes } from 'node:crypto';
import { rmSync } from 'node:fs';
import Database from 'better-sqlite3';
import { createPrivate } from '../store/sqlite/open.ts';

/** Of the tables below; what the parameters and the zone put into them is part of the signature too. */
export const SCHEMA_VERSION = 5;

/** `superseded` of what is current: above any row. */
export const CURRENT = 9e15;

const TABLES = `
CREATE TABLE meta (name TEXT PRIMARY KEY, value BLOB NOT NULL) STRICT, WITHOUT ROWID;

-- What many resources share: type, codes, status, unit. Some hundred rows, however many resources there are.
CREATE TABLE shape (
  shape   INTEGER PRIMARY KEY,
  text    TEXT NOT NULL UNIQUE,
  code    TEXT NOT NULL,
  status  TEXT NOT NULL,
  -- Longest effective period, ms: bounds where a period that starts before a time can end.
  longest REAL NOT NULL
) STRICT;

CREATE TABLE subject (
  subject   INTEGER PRIMARY KEY,
  text      TEXT NOT NULL UNIQUE,
  reference TEXT,
  system    TEXT,
  value     TEXT
) STRICT;
CREATE INDEX subject_by_reference ON subject (reference);
CREATE INDEX subject_by_identifier ON subject (value, system);

-- Which systems the identifiers in a resource are of, by parameter: some dozen sets, however many resources there are.
CREATE TABLE naming (naming INTEGER PRIMARY KEY, text TEXT NOT NULL UNIQUE) STRICT;
CREATE TABLE naming_system (
  parameter INTEGER NOT NULL,
  system    INTEGER NOT NULL,
  naming    INTEGER NOT NULL,
  PRIMARY KEY (parameter, system, naming)
) STRICT, WITHOUT ROWID;

CREATE TABLE name (name INTEGER PRIMARY KEY, text TEXT NOT NULL UNIQUE) STRICT;

-- One row a version, in the order of the ledger and, within an issue, of its places; superseded by the row that holds the next. So a search can be
-- answered as of any row, and its later pages are of the same moment as its first.
CREATE TABLE version (
  row        INTEGER PRIMARY KEY,
  id         TEXT    NOT NULL,
  -- Where its text is: row of the ledger's table of issues, and place in it. Below 0 of what an entry itself is, after all that it issued.
  issue      INTEGER NOT NULL,
  position   INTEGER NOT NULL,
  updated_ms INTEGER NOT NULL,
  shape      INTEGER NOT NULL,
  subject    INTEGER NOT NULL,
  naming     INTEGER NOT NULL,
  lo         INTEGER NOT NULL,
  hi         INTEGER NOT NULL,
  value      REAL,
  superseded INTEGER NOT NULL DEFAULT ${CURRENT}
) STRICT;
CREATE INDEX version_by_subject ON version (subject, shape, hi, row);
CREATE INDEX version_by_shape ON version (shape, hi, row);
CREATE INDEX version_by_naming ON version (naming, hi, row) WHERE naming > 0;

-- Ids, identifiers and references (words.ts), by what stands in them after the first dot.
CREATE TABLE word (
  value   TEXT    NOT NULL,
  -- The first of the rows that may say it.
  row     INTEGER NOT NULL,
  -- Which of them do, as what, and with what before it.
  pattern INTEGER NOT NULL,
  PRIMARY KEY (value, row)
) STRICT, WITHOUT ROWID;

-- What entries of one kind issue says the same words in the same places: some hundred patterns, however many entries there are.
CREATE TABLE pattern (pattern INTEGER PRIMARY KEY, text TEXT NOT NULL UNIQUE) STRICT;

CREATE TABLE place (
  pattern   INTEGER NOT NULL,
  parameter INTEGER NOT NULL,
  system    INTEGER NOT NULL,
  -- Up to the first dot, and with it; '' of what has none, or is searched for by how it begins.
  head      TEXT    NOT NULL,
  -- How many rows after the first.
  place     INTEGER NOT NULL,
  PRIMARY KEY (pattern, parameter, system, head, place)
) STRICT, WITHOUT ROWID;
`;

/**
 * Opens the index, made anew where there is none or it is of another signature.
 * @param signature of everything but the ledger that decides what is in it
 */
export function openIndex(file: string, signature: string): Database.Database {
  const found = tryOpen(file, signature);
  if (found !== undefined) return found;
  removeIndex(file);
  createPrivate(file);
  const db = connect(file);
  db.transaction(() => {
    db.exec(TABLES);
    const put = db.prepare('INSERT INTO meta (name, value) VALUES (?, ?)');
    put.run('signature', Buffer.from(signature));
    put.run('key', randomBytes(32));
  })();
  return db;
}

export function removeIndex(file: string): void {
  for (const suffix of ['', '-wal', '-shm']) rmSync(file + suffix, { force: true });
}

function tryOpen(file: string, signature: string): Database.Database | undefined {
  let db: Database.Database | undefined;
  try {
    db = connect(file, { fileMustExist: true });
    const known = db.prepare<[], Buffer>("SELECT value FROM meta WHERE name = 'signature'").pluck().get();
    if (known?.toString() === signature) return db;
  } catch {
    // Not there, no database, or none of ours: in each case it is made anew.
  }
  db?.close();
  return undefined;
}

function connect(file: string, options: Database.Options = {}): Database.Database {
  const db = new Database(file, { ...options, timeout: 250 });
  db.pragma('journal_mode = WAL');
  // What a loss of power takes is read again from the ledger; a torn file is found damaged and made anew.
  db.pragma('synchronous = OFF');
  db.pragma('trusted_schema = OFF');
  db.pragma('cell_size_check = ON');
  db.pragma(`cache_size = ${-64 * 1024}`);
  db.pragma('temp_store = MEMORY');
  return db;
}
