/**
 * `erase --drain ID | --patient REFERENCE [--dry-run] --by WHO --reason WORDS`: lawful erasure of whole closed drains, with
 * the service stopped. What proves the rest of the ledger stays whole, and says what was erased.
 */
import { parseArgs } from 'node:util';
import type Database from 'better-sqlite3';
import { readVerifierKey } from '../../audit/checkpoint.ts';
import { readMessageMapping } from '../../configuration/hl7v2-files.ts';
import { exportsFolderOf, type LedgerConfig, readLedgerConfig } from '../../configuration/ledger.ts';
import type { ErasureOutcome } from '../../store/log-port.ts';
import type { Store } from '../../store/port.ts';
import { createCheckpointReader } from '../../store/sqlite/checkpoints.ts';
import { createTombstoneReader } from '../../store/sqlite/tombstones.ts';
import { atOneMoment } from '../one-moment.ts';
import { mustBeWhole, openLedger, personOf, wordsOf } from '../open-ledger.ts';
import { print } from '../output.ts';
import { progress } from '../progress.ts';
import { signedHead } from '../signed-head.ts';
import { verifyDatabase } from '../verify/database.ts';
import { THE_LOG } from '../verify/walk.ts';
import { isLinked, type Plan, planOf, type Wanted } from './plan.ts';
import { expectTraces, mayHaveTraces, removeTraces } from './traces.ts';

const OPTIONS = {
  drain: { type: 'string' },
  patient: { type: 'string' },
  'dry-run': { type: 'boolean', default: false },
  by: { type: 'string' },
  reason: { type: 'string' },
} as const;

/** @returns the exit code 0, or null where it is asked wrongly @throws {Error} where it may not be done */
export async function runErase(args: readonly string[]): Promise<number | null> {
  const { values } = parseArgs({ args: [...args], options: OPTIONS });
  const wanted = wantedOf(values);
  if (wanted === null) return null;
  const config = readLedgerConfig(process.env);
  if (values['dry-run']) {
    tell(
      atOneMoment(config.database, (db) => plan(db, wanted)),
      'would be erased',
    );
    print('Nothing was written.');
    return 0;
  }
  const [actor, reason] = [personOf(values.by), wordsOf(values.reason)];
  const exports = exportsFolderOf(config.database, process.env.DRAINLEDGER_EXPORTS);
  const wasCut = mayHaveTraces(config.database);
  if (wasCut) await removeTraces(config.database, exports);
  if (atOneMoment(config.database, (db) => isErased(db, wanted, wasCut))) {
    print('Done before: of a run that was cut nothing is left to do.');
    return 0;
  }
  const planned = await eraseRows(config, wanted, (store, order) => store.erase(actor, { ...order, reason }));
  await removeTraces(config.database, exports);
  mustVerify(config.database);
  tell(planned, 'erased');
  print('Done: what the ledger holds now verifies.');
  return 0;
}

type Erase = (store: Store, order: Plan) => Promise<ErasureOutcome>;

async function eraseRows(config: LedgerConfig, wanted: Wanted, erase: Erase): Promise<Plan> {
  const store = openLedger(config);
  try {
    mustBeWhole(store, config);
    mustVerify(config.database);
    const planned = atOneMoment(config.database, (db) => plan(db, wanted));
    print('Erasing; should this end before it says that it is done, run it again');
    await expectTraces(config.database);
    const { logIndex, entries } = await erase(store, planned);
    print(`Entry ${logIndex} says that ${entries} entries were erased.`);
    return planned;
  } finally {
    await store.close();
  }
}

function wantedOf({
  drain,
  patient,
}: {
  drain?: string | undefined;
  patient?: string | undefined;
}): Wanted | null {
  if (drain !== undefined) return patient === undefined ? { drain } : null;
  return patient === undefined ? null : { patient };
}

function plan(db: Database.Database, wanted: Wanted): Plan {
  const mapping = process.env.DRAINLEDGER_HL7V2;
  return planOf(db, wanted, mapping === undefined ? null : readMessageMapping(mapping));
}

/** Of a patient it cannot be told but by a run that was cut: whom drains were linked to is gone with the rest. */
function isErased(db: Database.Database, wanted: Wanted, wasCut: boolean): boolean {
  if ('patient' in wanted) return wasCut && !isLinked(db, wanted.patient);
  return createTombstoneReader(db)().all.some(({ erased }) => erased.drains.includes(wanted.drain));
}

/** What is wrong with a payload could not be seen once it is gone. @throws {Error} where anything is wrong with the ledger */
function mustVerify(database: string): void {
  const key = atOneMoment(database, (db) =>
    createCheckpointReader(db).newestCheckpoint() === undefined ? undefined : signedHead(db).keys.at(-1),
  );
  const given = key === undefined ? null : (readVerifierKey(key)?.key ?? null);
  const { finding } = verifyDatabase(database, { given, outside: [], onProgress: progress() });
  // A ledger of which nothing was ever signed has no key to be known.
  if (finding === null || (given === null && finding.where === THE_LOG)) return;
  throw new Error(`${database} does not verify: ${finding.where}: ${finding.what}`);
}

function tell({ drains, messages, unnamed, targets, archives }: Plan, word: string): void {
  const lines = [
    `${drains.join(', ')} with ${messages.length} kept HL7 v2 messages ${word}, everywhere in the ledger and in what is made of it.`,
    'Stay in the ledger: that there were entries, of which kind and when, by whom, and under which names what they changed',
    'was sent; who read them, and of which patient that was.',
    ...unnamed.map(
      (place) =>
        `Not reached: the HL7 v2 message kept as entry ${place} names no drain and no patient that the mapping reads. It may be of anybody.`,
    ),
    ...targets.map((target) => `Not reached: ${target} took what was issued. Have it erased there.`),
    ...archives.map(
      (archive) => `Not reached: the archive ${archive} holds them. Destroy it where it is kept.`,
    ),
    'Not reached: copies, backups, exports and bundles that were made of the ledger, and files of the disk that it once held.',
  ];
  print(lines.join('\n'));
}
