import type { LedgerConfig } from '../configuration/ledger.ts';
import type { Author } from '../domain/vocabulary/entry.ts';
import { whyOnlyRead } from '../proof.ts';
import type { Store } from '../store/port.ts';
import { openSqliteStore } from '../store/sqlite/store.ts';
import { MIGRATIONS } from './one-moment.ts';

/** Opens the ledger of the environment to write about the log itself. @throws while the service has it */
export function openLedger({ database, origin }: LedgerConfig): Store {
  return openSqliteStore({
    file: database,
    migrationsFolder: MIGRATIONS,
    origin,
    targets: [],
    policy() {
      throw new Error('nothing is charted from the command line');
    },
    mostQueued: 10,
    now: Date.now,
    onFatal(error) {
      throw error;
    },
  });
}

/** @throws {Error} where the service would only read it */
export function mustBeWhole(store: Store, { origin, proof }: LedgerConfig): void {
  const why = whyOnlyRead(store, origin, proof);
  if (why !== null) throw new Error(`the ledger is only read: ${why}`);
}

/** The person who orders it, such as Practitioner/n1. @throws {Error} where it is no reference */
export function personOf(by: string | undefined): Author {
  if (by === undefined || !/^[A-Za-z]{1,64}\/[A-Za-z0-9\-.]{1,64}$/.test(by))
    throw new Error(`--by ${by ?? ''} is no reference: say who orders it, such as --by Practitioner/n1`);
  return { type: 'person', reference: by };
}

/** @throws {Error} where there are none */
export function wordsOf(reason: string | undefined): string {
  if (reason === undefined || reason.trim() === '') throw new Error('--reason is missing: say why, in words');
  return reason;
}
