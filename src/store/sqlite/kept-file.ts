/**
 * A file beside the ledger for what took long to work out. It is a convenience and no record: it may be deleted at any
 * time, nobody waits for it to reach the disk, and a text in it is believed only where its digest says that this very
 * program wrote it, about this drain, on the footing that the ledger has now. All else is as if it were not there.
 */
import { createHash } from 'node:crypto';
import { readdirSync, readFileSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import Database from 'better-sqlite3';
import { createPrivate } from './open.ts';

export interface KeptFile {
  /** @returns null where nothing is kept that may be believed */
  read(drain: string, what: string, footing: string): string | null;
  write(drain: string, what: string, footing: string, text: string): void;
  close(): void;
}

/** Where it is, beside the database. */
export const keptFileOf = (database: string): string => `${database}.kept`;

const SCHEMA = `CREATE TABLE IF NOT EXISTS kept (
  drain TEXT NOT NULL, what TEXT NOT NULL, digest TEXT NOT NULL, text TEXT NOT NULL, PRIMARY KEY (drain, what)
) STRICT, WITHOUT ROWID`;

/** @param program what tells this program from any that derives in another way */
export function openKeptFile(file: string, program: () => string = programDigest): KeptFile {
  let opened = opening(file) ?? openedAnew(file);
  /** The text follows what ends by itself: it need not be written into JSON, which would take longer than hashing it. */
  const digestOf = (drain: string, what: string, footing: string, text: string): string =>
    createHash('sha256')
      .update(JSON.stringify([program(), drain, what, footing]))
      .update(text)
      .digest('base64url');

  /** A file that cannot be read is of no use to anybody: it is begun anew. Where that fails too, nothing is kept. */
  function attempt<T>(work: (statements: Opened) => T, otherwise: T): T {
    if (opened === null) return otherwise;
    try {
      return work(opened);
    } catch (error) {
      if (!(error instanceof Database.SqliteError)) throw error;
      opened.db.close();
      opened = openedAnew(file);
      return otherwise;
    }
  }

  return {
    read: (drain, what, footing) =>
      attempt(({ read }) => {
        const row = read.get(drain, what);
        if (row === undefined || row.digest !== digestOf(drain, what, footing, row.text)) return null;
        return row.text;
      }, null),
    write: (drain, what, footing, text) =>
      attempt(
        ({ write }) => void write.run(drain, what, digestOf(drain, what, footing, text), text),
        undefined,
      ),
    close: () => opened?.db.close(),
  };
}

type Opened = NonNullable<ReturnType<typeof opening>>;

function opening(file: string) {
  let db: Database.Database | undefined;
  try {
    createPrivate(file);
    db = new Database(file, { timeout: 0 });
    // Nobody else reads it, so no lock need be taken for each look.
    db.pragma('locking_mode = EXCLUSIVE');
    db.pragma('journal_mode = MEMORY');
    db.pragma('synchronous = OFF');
    db.exec(SCHEMA);
    return {
      db,
      read: db.prepare<[string, string], { digest: string; text: string }>(
        'SELECT digest, text FROM kept WHERE drain = ? AND what = ?',
      ),
      write: db.prepare('INSERT OR REPLACE INTO kept (drain, what, digest, text) VALUES (?, ?, ?, ?)'),
    };
  } catch {
    db?.close();
    return null;
  }
}

function openedAnew(file: string): Opened | null {
  try {
    rmSync(file, { force: true });
    return opening(file);
  } catch {
    return null;
  }
}

const PROGRAM = fileURLToPath(new URL('../../', import.meta.url));
let known: string | null = null;

/** Of every file of this program: whatever changes in it, nothing that another version kept is believed. */
function programDigest(): string {
  known ??= digestOfFolder(PROGRAM);
  return known;
}

function digestOfFolder(folder: string): string {
  const digest = createHash('sha256').update(process.version);
  const files = readdirSync(folder, { recursive: true, encoding: 'utf8' }).filter((name) =>
    /\.[jt]s$/.test(name),
  );
  for (const name of files.sort()) digest.update(`\n${name}\n`).update(readFileSync(join(folder, name)));
  return digest.digest('base64url');
}
