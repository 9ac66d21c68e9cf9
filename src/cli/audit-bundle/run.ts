/** `audit-bundle --drain ID | --patient KEY | --from TIME --to TIME  --out FOLDER` */
import { parseArgs } from 'node:util';
import { readLedgerConfig } from '../../configuration/ledger.ts';
import { syncFolder } from '../../escrow/durable-file.ts';
import { atOneMoment } from '../one-moment.ts';
import { print, whole } from '../output.ts';
import { momentIn, PART_OPTIONS, type PartOptions } from '../part-of-ledger.ts';
import { progress } from '../progress.ts';
import type { Wanted } from './select.ts';
import { writeBundle } from './write.ts';

/** @returns the exit code 0, or null where it is asked wrongly @throws {Error} where it cannot be written */
export async function runAuditBundle(args: readonly string[]): Promise<number | null> {
  const { values } = parseArgs({ args: [...args], options: PART_OPTIONS });
  const wanted = wantedOf(values);
  const { out } = values;
  if (wanted === null || out === undefined) return null;
  const { database } = readLedgerConfig(process.env);
  const { entries, covered } = await whole(out, async (draft) => {
    const written = atOneMoment(database, (db) => writeBundle(db, wanted, draft, progress()));
    await syncFolder(draft);
    return written;
  });
  print(`${out} holds ${entries} entries, as a checkpoint of ${covered} covers them`);
  return 0;
}

function wantedOf({ drain, patient, from, to }: PartOptions): Wanted | null {
  const isPeriod = from !== undefined && to !== undefined;
  if ([drain !== undefined, patient !== undefined, isPeriod].filter(Boolean).length !== 1) return null;
  if (drain !== undefined) return { drain };
  if (patient !== undefined) return { patient };
  return isPeriod ? { from: utc(from), to: utc(to) } : null;
}

/** As the log writes times. */
const utc = (time: string): string => new Date(momentIn(time)).toISOString();
