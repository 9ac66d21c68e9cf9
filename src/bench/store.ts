import { fileURLToPath } from 'node:url';
import { ALWAYS, type Policy } from '../domain/advisories/policy.ts';
import { USUAL_TERMINOLOGY } from '../domain/vocabulary/configuration.ts';
import { DEFAULT_SETTINGS } from '../domain/vocabulary/settings.ts';
import { createPolicy } from '../record/policy.ts';
import type { createRecord, Record } from '../record/record.ts';
import { DEFAULT_TABLE } from '../rules/default-table.ts';
import type { Store } from '../store/port.ts';
import { openSqliteStore } from '../store/sqlite/store.ts';
import type { createTree } from '../store/sqlite/tree.ts';

const MIGRATIONS = fileURLToPath(new URL('../../migrations', import.meta.url));

/** What the service runs with where nothing is configured. */
export const BENCH_POLICY: Policy = createPolicy(DEFAULT_SETTINGS, [
  {
    from: ALWAYS,
    rules: DEFAULT_TABLE,
    calendar: { zone: 'UTC', dayStart: 420, shiftStarts: [420, 1140] },
  },
]);

/** The store as the service opens it, with one target so that lanes are written, and a record on top of it. */
export function openBenchStore(
  file: string,
  create: typeof createRecord,
  openTree?: typeof createTree,
): { store: Store; record: Record } {
  const origin = 'bench.example';
  const options = {
    file,
    migrationsFolder: MIGRATIONS,
    origin,
    targets: ['ehr'],
    policy: () => BENCH_POLICY,
    mostQueued: 10_000,
    now: Date.now,
    onFatal: (error: Error) => {
      throw error;
    },
  };
  const store = openSqliteStore(options, openTree);
  const canonical = 'http://example.org/drainledger';
  return {
    store,
    record: create(store, { policy: BENCH_POLICY, canonical, origin, terminology: USUAL_TERMINOLOGY }),
  };
}
