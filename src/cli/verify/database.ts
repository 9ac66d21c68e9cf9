/** Verifies a ledger from its stored rows alone. Only reads; on a copy, or as a reader beside the service. */
import { existsSync } from 'node:fs';
import Database from 'better-sqlite3';
import { frameName } from '../../audit/chain.ts';
import { createErasures, type Tombstone } from '../../audit/erasure.ts';
import { type Finding, placeOf } from '../../audit/log-check.ts';
import { readKeys, restoresOf } from '../../audit/notices.ts';
import { StrayRow } from '../../store/sqlite/ledger-rows.ts';
import { isOfThisRelease, migrate } from '../../store/sqlite/migrate.ts';
import { createNoticeReader } from '../../store/sqlite/notices.ts';
import { assertSafeLibrary, openReader } from '../../store/sqlite/open.ts';
import { createTombstoneReader } from '../../store/sqlite/tombstones.ts';
import { archivesIn, type ToldArchive } from '../archives.ts';
import { MIGRATIONS } from '../one-moment.ts';
import { cosignatureFault } from './cosignatures.ts';
import type { Report, VerifyOptions } from './report.ts';
import { walkLog } from './walk.ts';

/** A finding as an error, thrown where nothing more can be said. */
class Stop extends Error {
  readonly finding: Finding;
  constructor(finding: Finding) {
    super(finding.what);
    this.finding = finding;
  }
}

export function verifyDatabase(file: string, options: VerifyOptions): Report {
  const remarks: string[] = [];
  try {
    return { finding: verify(file, options, remarks), remarks };
  } catch (error) {
    return { finding: findingOf(file, error), remarks };
  }
}

function verify(file: string, options: VerifyOptions, remarks: string[]): Finding | null {
  const db = opened(file);
  try {
    // One moment of a database that may be written to meanwhile.
    db.exec('BEGIN');
    return integrityFault(db) ?? frameFault(db) ?? logFault(db, options, remarks) ?? schemaFault(db);
  } finally {
    db.close();
  }
}

function opened(file: string): Database.Database {
  const unreadable = (what: string) => new Stop({ kind: 'unreadable', where: file, what });
  if (!existsSync(file)) throw unreadable('there is no such file');
  const db = openReader(file);
  assertSafeLibrary(file, String(db.prepare('SELECT sqlite_version()').pluck().get()));
  const isOurs = isOfThisRelease(db, MIGRATIONS);
  if (isOurs === null) throw unreadable('it is a database, and holds no ledger');
  if (!isOurs) throw unreadable('its ledger is of another release: verify it with the one that last used it');
  return db;
}

function emptyLedger(): Database.Database {
  const db = new Database(':memory:');
  migrate(db, MIGRATIONS);
  return db;
}

/** Pages and indexes. It misses most single flipped bits; what it finds may mislead all that follows. */
function integrityFault(db: Database.Database): Finding | null {
  const said = db.prepare<[], string>('PRAGMA integrity_check(1)').pluck().get();
  return said === 'ok'
    ? null
    : { kind: 'tampered', where: 'the file', what: `it is damaged: ${said?.split('\n').at(-1)}` };
}

function frameFault(db: Database.Database): Finding | null {
  for (const { name, text } of db
    .prepare<[], { name: string; text: string }>('SELECT name, text FROM frame')
    .iterate()) {
    if (frameName(text) !== name)
      return { kind: 'tampered', where: `frame ${name}`, what: 'its text is not the one it is named after' };
  }
  return null;
}

function logFault(db: Database.Database, options: VerifyOptions, remarks: string[]): Finding | null {
  const notices = createNoticeReader(db)();
  const first = db
    .prepare<[], string>('SELECT envelope FROM ledger ORDER BY log_index LIMIT 1')
    .pluck()
    .get();
  const name = first === undefined ? '' : (JSON.parse(first) as { origin: string }).origin;
  let keys: ReturnType<typeof readKeys>;
  try {
    keys = readKeys(name, notices);
  } catch (error) {
    return { kind: 'tampered', where: 'the keys of the log', what: (error as Error).message };
  }
  for (const { logIndex, replaces } of keys)
    if (replaces !== null)
      remarks.push(
        `entry ${logIndex} names a key in place of a lost one, which did not sign that: ${replaces}`,
      );
  const restores = restoresOf(notices);
  for (const { logIndex, body } of restores) remarks.push(`entry ${logIndex} accepts a restore: ${body}`);
  const heads = { name, keys, restores: restores.map(({ logIndex }) => logIndex), given: options.given };
  const { all: tombstones, changed } = createTombstoneReader(db)();
  // What it says was erased could not be told from what is missing.
  if (changed !== null)
    return { kind: 'tampered', where: placeOf(changed), what: 'its payload is not the one it commits to' };
  const finding =
    walkLog(db, heads, createErasures(tombstones), options, remarks) ??
    cosignatureFault(db, options, remarks);
  // Read only when it is known to be what was written.
  if (finding === null) remarks.push(...tombstones.map(erasureText), ...archivesIn(db).map(archiveText));
  return finding;
}

const erasureText = ({ logIndex, erased: { drains, entries, reason } }: Tombstone): string => {
  const count = entries.reduce((sum, [first, last]) => sum + last - first + 1, 0);
  return `entry ${logIndex} tells that ${count} entries of ${drains.join(', ')} were lawfully erased: ${reason}`;
};

/** Whoever has the archives can hold their manifests against it. */
const archiveText = ({ logIndex, bundle, drains, manifest_sha256 }: ToldArchive): string =>
  `entry ${logIndex} tells of the archive ${bundle} of ${drains.join(', ')}: its manifest is ${manifest_sha256}`;

/**
 * Triggers keep rows from being changed; without one they could have been. Quoted, since a name that became a BLOB
 * reads as the same text, and is no name of a trigger any more. Statistics of the planner are nobody's doing.
 */
function schemaFault(db: Database.Database): Finding | null {
  const objects = (of: Database.Database): Map<string, string> =>
    new Map(
      of
        .prepare<[], [string, string]>(
          `SELECT type || ' ' || name, concat_ws(' ', quote(type), quote(name), quote(tbl_name), quote(sql))
             FROM sqlite_schema WHERE name NOT LIKE 'sqlite_stat%'`,
        )
        .raw()
        .all(),
    );
  const [has, due] = [objects(db), objects(emptyLedger())];
  const changed = [...due].find(([name, quoted]) => has.get(name) !== quoted)?.[0];
  if (changed !== undefined)
    return {
      kind: 'tampered',
      where: `the ${changed}`,
      what: 'it is missing, or not as the release made it',
    };
  const added = [...has.keys()].find((name) => !due.has(name));
  return added === undefined
    ? null
    : { kind: 'tampered', where: `the ${added}`, what: 'the release made no such thing' };
}

function findingOf(file: string, error: unknown): Finding {
  if (error instanceof Stop) return error.finding;
  if (error instanceof StrayRow)
    return {
      kind: 'tampered',
      where: `issued texts of entry ${error.logIndex}`,
      what: 'they belong to no entry, or stand out of order',
    };
  const cause = error instanceof Error && error.cause instanceof Database.SqliteError ? error.cause : error;
  if (cause instanceof Database.SqliteError && cause.code.startsWith('SQLITE_CORRUPT'))
    return { kind: 'tampered', where: 'the file', what: `it is damaged: ${cause.message}` };
  return { kind: 'unreadable', where: file, what: error instanceof Error ? error.message : String(error) };
}
