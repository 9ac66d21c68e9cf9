/** What it takes to recompute a whole ledger, beside reading the same rows and hashing them once. */
import { generateKeyPairSync, hash } from 'node:crypto';
import Database from 'better-sqlite3';
import { rawPublicKey, signCheckpoint } from '../audit/checkpoint.ts';
import { writeFirstKey } from '../audit/notices.ts';
import { verifyDatabase } from '../cli/verify/database.ts';
import { createRecord } from '../record/record.ts';
import { openReader } from '../store/sqlite/open.ts';
import { createTreeReader } from '../store/sqlite/tree.ts';
import { incoming, placeDrain } from './cost-per-entry.ts';
import { median } from './measure.ts';
import { reading } from './messages.ts';
import { openBenchStore } from './store.ts';

const DRAINS = 200;
const ROUNDS = 3;
const PROOFS = 200;

export interface VerifyCost {
  readonly entries: number;
  readonly 'verify s': number;
  readonly 'read and hash s': number;
  readonly ratio: number;
  readonly 'one proof µs': number;
  readonly 'proof bytes': number;
}

export async function verifyCost(file: string, entries: number): Promise<VerifyCost> {
  const key = generateKeyPairSync('ed25519').privateKey;
  const given = rawPublicKey(key);
  const sign = (head: { size: number; root: Buffer }) =>
    signCheckpoint({ origin: 'bench.example', ...head }, key);
  const { store, record } = openBenchStore(file, createRecord);
  await store.notice({ type: 'checkpoint-key', actor: { type: 'service' }, body: writeFirstKey(given) });
  const drains: string[] = [];
  for (let n = 0; n < DRAINS; n += 1) drains.push(await placeDrain(record, 'verify', n));
  for (let n = 1; store.log.size() < entries; n += 1) {
    await Promise.all(drains.map((drain, i) => record([incoming(drain, reading('verify', i, drain, n))])));
    if (n % 5 === 0) await store.checkpoint(sign);
  }
  await store.checkpoint(sign);
  await store.close();

  const verified = best(() => {
    const { finding } = verifyDatabase(file, { given, outside: [], onProgress() {} });
    if (finding !== null) throw new Error(`${finding.where}: ${finding.what}`);
  });
  const raw = best(() => readAndHash(file));
  return {
    ...proofCost(file),
    'verify s': verified,
    'read and hash s': raw,
    ratio: Number((verified / raw).toFixed(1)),
  };
}

/** Seconds of the quickest round. */
function best(run: () => void): number {
  const times = Array.from({ length: ROUNDS }, () => {
    const start = performance.now();
    run();
    return (performance.now() - start) / 1000;
  });
  return Number(Math.min(...times).toFixed(2));
}

function readAndHash(file: string): void {
  const db = new Database(file, { readonly: true });
  for (const sql of [
    'SELECT envelope FROM ledger',
    'SELECT body FROM payload',
    'SELECT resources FROM issued',
  ])
    for (const text of db.prepare<[], string>(sql).pluck().iterate()) hash('sha256', text, 'buffer');
  db.close();
}

function proofCost(file: string): Pick<VerifyCost, 'entries' | 'one proof µs' | 'proof bytes'> {
  const db = openReader(file);
  const tree = createTreeReader(db);
  const size = tree.size();
  let bytes = 0;
  const times = Array.from({ length: PROOFS }, (_, n) => {
    const start = performance.now();
    bytes = 32 * tree.inclusion(Math.floor((n * size) / PROOFS), size).length;
    return (performance.now() - start) * 1000;
  });
  db.close();
  return { entries: size, 'one proof µs': Math.round(median(times)), 'proof bytes': bytes };
}
