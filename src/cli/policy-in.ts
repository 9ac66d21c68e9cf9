import type Database from 'better-sqlite3';
import { readConfigurations } from '../configuration/configuration-text.ts';
import type { Policy } from '../domain/advisories/policy.ts';
import { createPolicy } from '../record/policy.ts';
import { createConfigurationReader } from '../store/sqlite/configurations.ts';

/** What the service that wrote the ledger works with. @throws {Error} where no service ever did */
export function policyIn(db: Database.Database): Policy {
  const versions = readConfigurations(createConfigurationReader(db)());
  const newest = versions.at(-1);
  if (newest === undefined) throw new Error('the ledger holds no configuration: no service ever began it');
  return createPolicy(newest.settings, versions);
}
