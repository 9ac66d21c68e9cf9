/** `retention [--dry-run] --by WHO --reason WORDS`: archives whole closed drains past the configured age. It deletes nothing. */
import { parseArgs } from 'node:util';
import type Database from 'better-sqlite3';
import { type Archived, writeArchived } from '../../audit/archived.ts';
import { readLedgerConfig } from '../../configuration/ledger.ts';
import { type Retention, readRetention } from '../../configuration/retention.ts';
import { HOUR_MS } from '../../domain/numbers/units.ts';
import type { StoredNotice } from '../../store/log-port.ts';
import type { Group } from '../closed-drains.ts';
import { openMoment } from '../one-moment.ts';
import { mustBeWhole, openLedger, personOf, wordsOf } from '../open-ledger.ts';
import { print } from '../output.ts';
import { progress } from '../progress.ts';
import { signedHead } from '../signed-head.ts';
import { archiveGroup } from './archive.ts';
import { type Due, dueIn } from './due.ts';

const OPTIONS = {
  'dry-run': { type: 'boolean', default: false },
  by: { type: 'string' },
  reason: { type: 'string' },
} as const;

/** @returns the exit code 0 @throws {Error} where it is off, asked wrongly, or an archive cannot be made */
export async function runRetention(args: readonly string[]): Promise<number> {
  const { values } = parseArgs({ args: [...args], options: OPTIONS });
  const retention = readRetention(process.env);
  if (values['dry-run']) return dryRun(retention);
  const [actor, reason] = [personOf(values.by), wordsOf(values.reason)];
  const config = readLedgerConfig(process.env);
  const store = openLedger(config);
  try {
    mustBeWhole(store, config);
    return await archiveAll(openPlan(config.database, retention), retention, (said) =>
      store.archived(actor, writeArchived({ ...said, reason })),
    );
  } finally {
    await store.close();
  }
}

/** @param tellLog says in the ledger that one was archived, once it is verified and at its place */
async function archiveAll(
  { db, all, key }: Plan,
  { folder, days }: Retention,
  tellLog: (said: Omit<Archived, 'reason'>) => Promise<StoredNotice>,
): Promise<number> {
  const onProgress = progress('archives');
  try {
    const due = tell(all);
    for (const [done, group] of due.entries()) {
      const archive = await archiveGroup(db, group, folder, key);
      const { logIndex } = await tellLog({ ...archive, drains: group.drains, older_than_days: days });
      print(`${archive.bundle}: ${archive.entries} entries, verified; entry ${logIndex} says so`);
      onProgress(done + 1, due.length);
    }
    print(`${due.length} archived in ${folder}; nothing was deleted.`);
    return 0;
  } finally {
    db.close();
  }
}

/** Only reads: also while the service runs. */
function dryRun(retention: Retention): number {
  const { db, all } = openPlan(readLedgerConfig(process.env).database, retention);
  try {
    const due = tell(all);
    for (const { drains } of due) print(`would archive ${drains.join(', ')}`);
    print(`${due.length} would be archived in ${retention.folder}; nothing was written.`);
    return 0;
  } finally {
    db.close();
  }
}

/** What is to be done as of one moment, and the key that archives are verified with. */
interface Plan {
  readonly db: Database.Database;
  readonly all: readonly Due[];
  /** C2SP verifier key. */
  readonly key: string;
}

function openPlan(database: string, { days }: Retention): Plan {
  const db = openMoment(database);
  try {
    const { head, keys } = signedHead(db);
    const all = [...dueIn(db, { beforeMs: Date.now() - days * 24 * HOUR_MS, covered: head.size })];
    return { db, all, key: keys.at(-1) ?? '' };
  } catch (error) {
    db.close();
    throw error;
  }
}

/** Says what is not due, and why. @returns what is */
function tell(all: readonly Due[]): readonly Group[] {
  const count = (kind: Due['kind']): number => all.filter((each) => each.kind === kind).length;
  print(
    `${count('archived')} archived before, ${count('recent')} charted too lately, ${count('held')} held back, ${count('due')} due`,
  );
  for (const each of all) if (each.kind === 'held') print(`held back: ${each.why}`);
  return all.flatMap((each) => (each.kind === 'due' ? [each.group] : []));
}
