/** A real SQLite ledger in a temp folder, with short ways to say things to it. */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import Database from 'better-sqlite3';
import { writeBody } from '../../src/audit/entry-text.ts';
import { USUAL_TERMINOLOGY } from '../../src/domain/configuration.ts';
import { createRecord, drainNameOf, type Incoming, type Record } from '../../src/record/record.ts';
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
  const record = createRecord(store, {
    policy: DEFAULT_POLICY,
    canonical: 'http://example.org/test',
    origin: 'store.example',
    terminology: USUAL_TERMINOLOGY,
  });
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

/** What is told, addressed to the drain that the telling of its placement makes. */
export function incoming(told: Told, placement: Told): Incoming {
  const { body } = entryOf(told, 1);
  return { drain: drainNameOf(entryOf(placement, 1).body.identifier), body, request: writeBody(body) };
}
