import { fileURLToPath } from 'node:url';
import { DEFAULT_SETTINGS } from '../domain/settings.ts';
import type { createRecord, Record } from '../record/record.ts';
import type { Store } from '../store/port.ts';
import { openSqliteStore } from '../store/sqlite/store.ts';

const MIGRATIONS = fileURLToPath(new URL('../../migrations', import.meta.url));

/** The store as the service opens it, with one target so that lanes are written, and a record on top of it. */
export function openBenchStore(file: string, create: typeof createRecord): { store: Store; record: Record } {
  const store = openSqliteStore({
    file,
    migrationsFolder: MIGRATIONS,
    origin: 'bench.example',
    targets: ['ehr'],
    settings: DEFAULT_SETTINGS,
    mostQueued: 10_000,
    now: Date.now,
    onFatal: (error) => {
      throw error;
    },
  });
  const canonical = 'http://example.org/drainledger';
  return { store, record: create(store, { derivation: DEFAULT_SETTINGS, canonical }) };
}
