/** `ledger accept-restored|copy`: take a ledger that lost entries into use again, and copy one that is in use. */
import { open } from 'node:fs/promises';
import { parseArgs } from 'node:util';
import { writeRestored } from '../audit/notices.ts';
import { readLedgerConfig } from '../configuration/ledger.ts';
import { damageOf, standingOf } from '../proof.ts';
import { createPrivate, openReader } from '../store/sqlite/open.ts';
import { openLedger, personOf, wordsOf } from './open-ledger.ts';
import { print, whole } from './output.ts';

const OPTIONS = { by: { type: 'string' }, reason: { type: 'string' } } as const;

/** @returns the exit code: 0, 1 where there is nothing to accept, or null where there is no such command */
export async function runLedger(args: readonly string[]): Promise<number | null> {
  const { values, positionals } = parseArgs({ args: [...args], options: OPTIONS, allowPositionals: true });
  const [verb, file, ...more] = positionals;
  if (more.length > 0) return null;
  if (verb === 'copy' && file !== undefined) return copy(readLedgerConfig(process.env).database, file);
  if (verb === 'accept-restored' && file === undefined) return acceptRestored(values.by, values.reason);
  return null;
}

async function acceptRestored(by: string | undefined, why: string | undefined): Promise<number> {
  const [actor, reason] = [personOf(by), wordsOf(why)];
  const config = readLedgerConfig(process.env);
  const store = openLedger(config);
  try {
    const damage = damageOf(store);
    if (damage !== null)
      throw new Error(
        `${damage}. No person can accept that: put a copy in its place that 'cli verify' finds whole`,
      );
    const doubts = standingOf(store, config.origin, config.proof);
    if (doubts.length === 0) {
      process.stderr.write('The ledger holds all that others have seen of it: there is nothing to accept.\n');
      return 1;
    }
    const body = writeRestored({
      reason,
      doubt: doubts.map((each) => each.why).join('; '),
      given_up: doubts.map(({ head: { where, note } }) => ({
        where,
        origin: note.origin,
        size: note.size,
        root: note.root.toString('base64'),
      })),
    });
    const { logIndex, recordedAt } = await store.notice({ type: 'restored', actor, body });
    print(
      `Entry ${logIndex} of ${recordedAt} says that the ledger goes on from its ${logIndex} entries before it.\n` +
        'What it has lost is lost to it: chart it anew where paper or the record has it. Start the service now.',
    );
    return 0;
  } finally {
    await store.close();
  }
}

/** One moment of the ledger, whole, while the service writes on. */
async function copy(database: string, to: string): Promise<number> {
  await whole(to, async (draft) => {
    createPrivate(draft);
    const db = openReader(database);
    try {
      // Into another file; of the ledger it only reads.
      db.pragma('query_only = OFF');
      db.prepare('VACUUM INTO ?').run(draft);
    } finally {
      db.close();
    }
    const written = await open(draft, 'r');
    await written.sync();
    await written.close();
  });
  print(`${to} holds a copy; check it with: verify ${to} --key PUB`);
  return 0;
}
