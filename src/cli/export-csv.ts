/** `export DATABASE --drain ID | --patient KEY | --from TIME --to TIME  [--out FILE]`: drains as CSV, from the ledger itself. */
import { Readable } from 'node:stream';
import { pipeline } from 'node:stream/promises';
import { parseArgs } from 'node:util';
import type Database from 'better-sqlite3';
import type { Policy } from '../domain/advisories/policy.ts';
import { openPieceFile, type PieceFile } from '../export/piece-file.ts';
import { drainRecords, HEADER, type Period } from '../record/csv/drain-csv.ts';
import { createDeviceReads } from '../store/sqlite/device-reads.ts';
import { createDeviceShelf } from '../store/sqlite/devices.ts';
import { createDrainReader } from '../store/sqlite/drain-reader.ts';
import { openMoment } from './one-moment.ts';
import { whole } from './output.ts';
import { momentIn, PART_OPTIONS, type PartOptions } from './part-of-ledger.ts';
import { policyIn } from './policy-in.ts';
import { progress } from './progress.ts';

/** @returns the exit code 0, or null where it is asked wrongly @throws {Error} where it cannot be written */
export async function runExport(args: readonly string[]): Promise<number | null> {
  const { values, positionals } = parseArgs({
    args: [...args],
    options: PART_OPTIONS,
    allowPositionals: true,
  });
  const [file, ...more] = positionals;
  if (file === undefined || more.length > 0 || !isWhole(values)) return null;
  const { from, to, out } = values;
  const period = {
    from: from === undefined ? null : momentIn(from),
    to: to === undefined ? null : momentIn(to),
  };
  const db = openMoment(file);
  try {
    await writeCsv(db, drainsIn(db, values), period, policyIn(db), out);
    return 0;
  } finally {
    db.close();
  }
}

/** @param out a new file; without it standard output */
export async function writeCsv(
  db: Database.Database,
  drains: readonly string[],
  period: Period,
  policy: Policy,
  out?: string,
): Promise<void> {
  const text = csvOf(db, drains, period, policy);
  if (out === undefined) await writeOut(text);
  else await whole(out, (draft) => fill(openPieceFile(draft), text));
}

/** Of one drain or patient, of any time; or of all, of a time with both its ends. */
function isWhole({ drain, patient, from, to }: PartOptions): boolean {
  if (drain !== undefined || patient !== undefined) return drain === undefined || patient === undefined;
  return from !== undefined && to !== undefined;
}

/** @throws {Error} where there is none */
export function drainsIn(db: Database.Database, asked: PartOptions): readonly string[] {
  const [drain, patient] = [asked.drain ?? null, asked.patient ?? null];
  const drains = db
    .prepare<[object], string>(
      `SELECT drain FROM drain WHERE (@drain IS NULL OR drain = @drain)
       AND (@patient IS NULL OR patient_key = @patient) ORDER BY drain`,
    )
    .pluck()
    .all({ drain, patient });
  if (drains.length === 0 && (drain !== null || patient !== null))
    throw new Error(`there is no such ${drain === null ? `patient: ${patient}` : `drain: ${drain}`}`);
  return drains;
}

/** One drain after another, so that no more than the books of one patient are in memory. */
function* csvOf(
  db: Database.Database,
  drains: readonly string[],
  period: Period,
  policy: Policy,
): Iterable<string> {
  // What rules find stands in no column.
  const read = createDrainReader(db, () => ({ ...policy, rules: [] }));
  const devices = createDeviceReads(db, createDeviceShelf(db));
  const tell = progress('drains');
  yield HEADER;
  for (const [n, drain] of drains.entries()) {
    const found = read(drain);
    if (found === undefined) throw new Error(`drain ${drain} has no entries; run verify on this database`);
    yield* drainRecords({ ...found, ...devices, isSeen: () => true, isTold: () => true }, found.book, period);
    tell(n + 1, drains.length);
  }
}

async function writeOut(text: Iterable<string>): Promise<void> {
  await pipeline(Readable.from(text), process.stdout, { end: false });
}

function fill(file: PieceFile, text: Iterable<string>): void {
  try {
    for (const page of text) file.add(page);
  } catch (error) {
    file.abandon();
    throw error;
  }
  file.finish();
}
