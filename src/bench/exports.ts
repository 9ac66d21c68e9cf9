/**
 * What each export of a whole ledger costs beside its limit: the very lines that it wrote, laid out in a table of one
 * column, read from SQLite and printed. Each runs in a process of its own, so that its memory is its own.
 */
import { execFileSync } from 'node:child_process';
import { generateKeyPairSync } from 'node:crypto';
import { createReadStream, readdirSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import { createInterface } from 'node:readline';
import { fileURLToPath } from 'node:url';
import Database from 'better-sqlite3';
import { rawPublicKey, signCheckpoint } from '../audit/checkpoint.ts';
import { writeFirstKey } from '../audit/notices.ts';
import { createRecord } from '../record/record.ts';
import type { ExportName, ExportTook } from './export-one.ts';
import { openBenchStore } from './store.ts';

const SCRIPT = fileURLToPath(new URL('export-one.js', import.meta.url));

const ALL = { bulk: '$export', csv: 'CSV', bundle: 'audit bundle' } as const;

export interface ExportRate {
  readonly export: string;
  readonly rows: number;
  readonly '/s': number;
  readonly 'limit /s': number;
  readonly ratio: number;
  /** Of processor time. */
  readonly 'cpu ratio': number;
  /** Memory above that of the start, at its peak. */
  readonly MiB: number;
}

/** @param ledger that nobody has open, and no key is named in @param folder where all is written, and removed again */
export async function exportRates(ledger: string, folder: string): Promise<readonly ExportRate[]> {
  await sign(ledger);
  const rates: ExportRate[] = [];
  for (const name of Object.keys(ALL) as (keyof typeof ALL)[]) rates.push(await rateOf(name, ledger, folder));
  return rates;
}

/** A bundle is of what a checkpoint covers. */
async function sign(ledger: string): Promise<void> {
  const key = generateKeyPairSync('ed25519').privateKey;
  const { store } = openBenchStore(ledger, createRecord);
  const body = writeFirstKey(rawPublicKey(key));
  await store.notice({ type: 'checkpoint-key', actor: { type: 'service' }, body });
  await store.checkpoint((head) => signCheckpoint({ origin: 'bench.example', ...head }, key));
  await store.close();
}

async function rateOf(name: keyof typeof ALL, ledger: string, folder: string): Promise<ExportRate> {
  const [out, table, printed] = ['export', 'export-lines.db', 'export-lines'].map((each) =>
    join(folder, each),
  ) as [string, string, string];
  try {
    const took = run(name, ledger, out);
    const rows = await tableOf(out, table);
    const limit = run('lines', table, printed);
    return {
      export: ALL[name],
      rows,
      '/s': Math.round(rows / took.seconds),
      'limit /s': Math.round(rows / limit.seconds),
      ratio: Number((limit.seconds / took.seconds).toFixed(2)),
      'cpu ratio': Number((limit.cpu / took.cpu).toFixed(2)),
      MiB: Math.round(took.mib),
    };
  } finally {
    for (const each of [out, table, printed]) rmSync(each, { recursive: true, force: true });
  }
}

const run = (name: ExportName, file: string, out: string): ExportTook =>
  JSON.parse(execFileSync(process.execPath, [SCRIPT, name, file, out], { encoding: 'utf8' }));

/** Every line of the data files of an export. @returns how many there are */
async function tableOf(folder: string, file: string): Promise<number> {
  const db = new Database(file);
  db.exec('CREATE TABLE line (text TEXT NOT NULL) STRICT');
  const insert = db.prepare('INSERT INTO line (text) VALUES (?)');
  db.exec('BEGIN');
  for (const name of readdirSync(folder).filter((each) => /\.(ndjson|csv)$/.test(each)))
    for await (const line of createInterface({ input: createReadStream(join(folder, name)) }))
      insert.run(line);
  db.exec('COMMIT');
  const rows = db.prepare<[], number>('SELECT count(*) FROM line').pluck().get() ?? 0;
  db.close();
  return rows;
}
