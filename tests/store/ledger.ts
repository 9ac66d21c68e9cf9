/** A real SQLite ledger in a temp folder, with short ways to say things to it. */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import Database from 'better-sqlite3';
import { afterEach, beforeEach } from 'vitest';
import { writeBody } from '../../src/audit/entry-text.ts';
import { USUAL_TERMINOLOGY } from '../../src/domain/vocabulary/configuration.ts';
import type { RecordSettings } from '../../src/record/drain-issue.ts';
import type { Incoming } from '../../src/record/incoming.ts';
import { createRecord, drainNameOf, type Record } from '../../src/record/record.ts';
import type { Store } from '../../src/store/port.ts';
import { openSqliteStore, type SqliteStoreOptions } from '../../src/store/sqlite/store.ts';
import { entryOf, type Told } from '../support/drain-script.ts';
import { DEFAULT_POLICY } from '../support/policy.ts';

export interface Ledger {
  readonly file: string;
  readonly store: Store;
  readonly record: Record;
  /** A second connection, to look at the rows and to put obstacles in the way. */
  readonly db: Database.Database;
  close(): Promise<void>;
}

const MIGRATIONS = fileURLToPath(new URL('../../migrations', import.meta.url));

export const SETTINGS: RecordSettings = {
  policy: DEFAULT_POLICY,
  canonical: 'http://example.org/test',
  origin: 'store.example',
  terminology: USUAL_TERMINOLOGY,
};

export function temporaryFile(): { file: string; remove(): void } {
  const folder = mkdtempSync(join(tmpdir(), 'drainledger-store-'));
  return { file: join(folder, 'ledger.db'), remove: () => rmSync(folder, { recursive: true, force: true }) };
}

export function openLedger(file: string, more: Partial<SqliteStoreOptions> = {}): Ledger {
  const store = openSqliteStore({
    file,
    migrationsFolder: MIGRATIONS,
    origin: 'store.example',
    targets: ['ehr'],
    policy: () => DEFAULT_POLICY,
    mostQueued: 1000,
    now: Date.now,
    onFatal(error) {
      throw error;
    },
    ...more,
  });
  const record = createRecord(store, SETTINGS);
  const db = new Database(file);
  return {
    file,
    store,
    record,
    db,
    async close() {
      db.close();
      await store.close();
    },
  };
}

/** The ledger of the test that runs. */
export interface LedgerInTest extends Omit<Ledger, 'close'> {
  /** Closes it and opens it again, or the one that `more.file` names, under other options. */
  reopen(more?: Partial<SqliteStoreOptions>): Promise<void>;
}

/** A new ledger before each test of the file, closed and removed after it. */
export function ledgerForEach(): LedgerInTest {
  let place: ReturnType<typeof temporaryFile>;
  let ledger: Ledger;
  beforeEach(() => {
    place = temporaryFile();
    ledger = openLedger(place.file);
  });
  afterEach(async () => {
    await ledger.close();
    place.remove();
  });
  return {
    get file() {
      return ledger.file;
    },
    get store() {
      return ledger.store;
    },
    get record() {
      return ledger.record;
    },
    get db() {
      return ledger.db;
    },
    async reopen(more = {}) {
      await ledger.close();
      ledger = openLedger(more.file ?? place.file, more);
    },
  };
}

export interface LedgerRow {
  readonly log_index: number;
  readonly stream: string;
  readonly seq: number;
  readonly envelope: string;
  readonly hash: string;
  readonly salt: Buffer;
  readonly body: string;
}

/** All entries with what they say, in the order of the log. */
export function rowsOf(db: Database.Database): readonly LedgerRow[] {
  return db
    .prepare<[], LedgerRow>('SELECT * FROM ledger JOIN payload USING (log_index) ORDER BY log_index')
    .all();
}

/** What is told, addressed to the drain that the telling of its placement makes. */
export function incoming(told: Told, placement: Told): Incoming & { readonly drain: string } {
  const { body } = entryOf(told, 1);
  return { drain: drainNameOf(entryOf(placement, 1).body.identifier), body, request: writeBody(body) };
}
