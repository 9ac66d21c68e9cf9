/** `export-one.js WHAT LEDGER OUT`: one export in a process of its own, or the limit beside it; prints what it took as JSON. */
import { closeSync, mkdirSync, openSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import type Database from 'better-sqlite3';
import { writeBundle } from '../cli/audit-bundle/write.ts';
import { drainsIn, writeCsv } from '../cli/export-csv.ts';
import { writeExport } from '../export/bulk/write.ts';
import { BULK_TYPES } from '../fhir/bulk.ts';
import { openReader } from '../store/sqlite/open.ts';
import { memoryOf, processorTimeFromNow } from './measure.ts';
import { BENCH_POLICY } from './store.ts';

export interface ExportTook {
  readonly seconds: number;
  /** Processor time, s. */
  readonly cpu: number;
  /** Memory at its peak above that of the start, MiB. */
  readonly mib: number;
}

/** The whole of a ledger; `lines` prints a table of lines and does nothing else. */
const EXPORTS = {
  bulk(db, out) {
    mkdirSync(out);
    const types = BULK_TYPES.map(({ type }) => type);
    const wanted = { types, ofPatients: false, leftOut: [], sinceMs: null, untilMs: Date.now() };
    const steps = writeExport(db, out, wanted);
    while (steps.next().done !== true);
  },
  csv(db, out) {
    mkdirSync(out);
    return writeCsv(db, drainsIn(db, {}), { from: null, to: null }, BENCH_POLICY, join(out, 'drains.csv'));
  },
  bundle(db, out) {
    const to = new Date(Date.now() + 1).toISOString();
    writeBundle(db, { from: new Date(0).toISOString(), to }, out, () => {});
  },
  lines(db, out) {
    const fd = openSync(out, 'wx');
    let piece = '';
    for (const text of db.prepare<[], string>('SELECT text FROM line ORDER BY rowid').pluck().iterate()) {
      piece += `${text}\n`;
      if (piece.length < PIECE_CHARACTERS) continue;
      writeFileSync(fd, piece);
      piece = '';
    }
    writeFileSync(fd, piece);
    closeSync(fd);
  },
} as const satisfies Readonly<Record<string, (db: Database.Database, out: string) => Promise<void> | void>>;

export type ExportName = keyof typeof EXPORTS;

const PIECE_CHARACTERS = 256 * 1024;

/** Of this process, MiB. */
const memoryMib = (field: 'VmRSS' | 'VmHWM'): number => memoryOf(process.pid, field) / 1024 ** 2;

const [what = '', ledger = '', out = ''] = process.argv.slice(2);
const db = openReader(ledger);
const [before, cpu, start] = [memoryMib('VmRSS'), processorTimeFromNow(), performance.now()];
await EXPORTS[what as ExportName](db, out);
const took: ExportTook = {
  seconds: (performance.now() - start) / 1000,
  cpu: cpu() / 1e6,
  mib: memoryMib('VmHWM') - before,
};
db.close();
console.log(JSON.stringify(took));
