/** Writes an audit bundle: all that a stranger needs to check a part of the log, without the rest of it. */
import { createHash } from 'node:crypto';
import { closeSync, fsyncSync, mkdirSync, openSync, writeSync } from 'node:fs';
import { join } from 'node:path';
import type Database from 'better-sqlite3';
import { readCheckpoint } from '../../audit/checkpoint.ts';
import { DELIVERY } from '../../audit/delivery-steps.ts';
import { createErasures } from '../../audit/erasure.ts';
import { inclusionProof, type ReadSubtree } from '../../audit/merkle.ts';
import { openPieceFile, type PieceFile } from '../../export/piece-file.ts';
import { writeCanonical } from '../../json/canonical.ts';
import { createCheckpointReader } from '../../store/sqlite/checkpoints.ts';
import { createFrameReader } from '../../store/sqlite/frames.ts';
import { recordedAtOf } from '../../store/sqlite/log-end.ts';
import { createTombstoneReader } from '../../store/sqlite/tombstones.ts';
import { createSubtreeReader } from '../../store/sqlite/tree.ts';
import { signedHead } from '../signed-head.ts';
import { readme } from './readme.ts';
import { type Selection, select, type Wanted } from './select.ts';
import { createStepReader } from './steps.ts';
import { pythonVerifier, verifierFile } from './verifier-file.ts';

export interface Written {
  readonly entries: number;
  /** Entries that the bundle's checkpoint covers, of all. */
  readonly covered: number;
}

/**
 * @param db a connection that only reads @param folder to be made: it must not be there yet
 * @throws {Error} where no checkpoint is kept, or nothing is to be written
 */
export function writeBundle(
  db: Database.Database,
  wanted: Wanted,
  folder: string,
  onProgress: (done: number, total: number) => void,
): Written {
  const { checkpoint: newest, head: newestHead, log, keys } = signedHead(db);
  const selection = select(db, wanted, newestHead.size);
  const { checkpoint, head } = cosignedOver(db, selection) ?? { checkpoint: newest, head: newestHead };
  mkdirSync(folder, { mode: 0o700 });
  const files = openFiles(folder);
  files.add('checkpoint.txt', checkpoint);
  files.add('public-keys.txt', keys.map((key) => `${key}\n`).join(''));
  files.add('verify.mjs', verifierFile());
  files.add('verify.py', pythonVerifier());
  files.add('README.md', readme(log, selection, head.size));
  for (const name of ['entries', 'frames', 'resources', 'corrections', 'accesses', 'deliveries'])
    files.add(`${name}.ndjson`, '');
  writeEntries(db, selection, head.size, files, onProgress);
  const manifest = { log, about: selection.about, entries: selection.indexes.length, files: files.close() };
  const format = 'drainledger-audit-bundle@v2';
  writeWhole(
    join(folder, 'manifest.json'),
    writeCanonical({ format, ...manifest }, () => undefined),
  );
  return { entries: selection.indexes.length, covered: head.size };
}

/** The newest checkpoint that a witness cosigned, where it covers all of that as the newest one does. */
function cosignedOver(db: Database.Database, { indexes }: Selection) {
  const checkpoint = createCheckpointReader(db).newestCosigned();
  const head = checkpoint === undefined ? undefined : readCheckpoint(checkpoint);
  return checkpoint !== undefined && head !== undefined && (indexes.at(-1) ?? 0) < head.size
    ? { checkpoint, head }
    : undefined;
}

interface Row {
  readonly log_index: number;
  readonly stream: string;
  readonly seq: number;
  readonly envelope: string;
  readonly hash: string;
  /** With the body, null where the payload is gone. */
  readonly salt: Buffer | null;
  readonly body: string | null;
}

const SAID_AGAIN = /"kind":"(corrected|entered-in-error|access)"/;

function writeEntries(
  db: Database.Database,
  { indexes, drains }: Selection,
  size: number,
  files: Files,
  onProgress: (done: number, total: number) => void,
): void {
  const entry = db.prepare<[number], Row>(
    `SELECT log_index, stream, seq, envelope, hash, salt, body FROM ledger LEFT JOIN payload USING (log_index)
     WHERE log_index = ?`,
  );
  const erasures = createErasures(createTombstoneReader(db)().all);
  const issuedWith = createIssueFinder(db);
  const read = remembering(createSubtreeReader(db));
  const frames = createFrameWriter(db, files);
  const textsIn = createFrameReader(db);
  const stepsIn = createStepReader(db, drains);
  for (const [done, index] of indexes.entries()) {
    const row = entry.get(index);
    const erased = erasures.entry(index);
    if (row === undefined || (row.body === null && erased?.payload !== true))
      throw new Error(`entry ${index} is missing; run verify on this database`);
    const issued = issuedWith(index);
    const proof = inclusionProof(read, index, size).map((hash) => hash.toString('base64'));
    const steps = row.stream === DELIVERY && row.body !== null ? { steps: stepsIn(row.body) } : {};
    const named = erased === undefined ? {} : { erased: erased.by };
    const line = { ...row, salt: row.salt?.toString('hex') ?? null, issued, proof, ...steps, ...named };
    files.add('entries.ndjson', `${JSON.stringify(line)}\n`);
    for (const { event, text } of steps.steps ?? [])
      files.add('deliveries.ndjson', `{"log_index":${index},"event":${event},"step":${text}}\n`);
    for (const stored of issued) {
      for (const [name = ''] of JSON.parse(stored) as string[][]) frames(name);
      for (const text of textsIn(stored))
        files.add('resources.ndjson', `{"log_index":${index},"resource":${text}}\n`);
    }
    sayAgain(row, files);
    if (done % 100 === 0) onProgress(done, indexes.length);
  }
  onProgress(indexes.length, indexes.length);
}

/** Files that say again, for people, what some entries say. */
function sayAgain({ log_index, envelope, body }: Row, files: Files): void {
  if (body === null || !SAID_AGAIN.test(body)) return;
  const { kind = '' } = JSON.parse(body) as { readonly kind?: string };
  const line = `{"log_index":${log_index},"recorded_at":"${recordedAtOf(envelope)}","body":${body}}\n`;
  if (kind === 'access') files.add('accesses.ndjson', line);
  if (kind === 'corrected' || kind === 'entered-in-error') files.add('corrections.ndjson', line);
}

/**
 * Texts issued with each entry, asked for in the order of the log: rows come in that order, so it leaps ahead from the last.
 * A lawful erasure may have left gaps: a row that is gone counts as the next one that is there.
 */
function createIssueFinder(db: Database.Database): (index: number) => string[] {
  const indexFrom = db
    .prepare<[number], number>('SELECT log_index FROM issued WHERE rowid >= ? ORDER BY rowid LIMIT 1')
    .pluck();
  const from = db.prepare<[number], { rowid: number; log_index: number; resources: string }>(
    'SELECT rowid, log_index, resources FROM issued WHERE rowid >= ? ORDER BY rowid LIMIT 1',
  );
  const at = (row: number): number => indexFrom.get(row) ?? Number.POSITIVE_INFINITY;
  let row = 1;

  function seek(index: number): number {
    let [low, step] = [row, 1];
    for (; at(low + step - 1) < index; step *= 2) low += step;
    let high = low + step - 1;
    while (low < high) {
      const middle = Math.floor((low + high) / 2);
      if (at(middle) < index) low = middle + 1;
      else high = middle;
    }
    return low;
  }

  return (index) => {
    const found: string[] = [];
    row = seek(index);
    for (let next = from.get(row); next?.log_index === index; next = from.get(row)) {
      found.push(next.resources);
      row = next.rowid + 1;
    }
    return found;
  };
}

/** Writes each frame once, when it is first needed. */
function createFrameWriter(db: Database.Database, files: Files): (name: string) => void {
  const frame = db.prepare<[string], string>('SELECT text FROM frame WHERE name = ?').pluck();
  const written = new Set<string>();
  return (name) => {
    if (written.has(name)) return;
    written.add(name);
    files.add('frames.ndjson', `${JSON.stringify({ name, text: frame.get(name) })}\n`);
  };
}

/** Neighbours share most of their proofs. */
function remembering(read: ReadSubtree): ReadSubtree {
  const MOST = 100_000;
  const known = new Map<string, Buffer>();
  return (height, place) => {
    const name = `${height}/${place}`;
    const before = known.get(name);
    if (before !== undefined) return before;
    if (known.size >= MOST) known.clear();
    const root = read(height, place);
    known.set(name, root);
    return root;
  };
}

interface Files {
  add(name: string, text: string): void;
  /** Makes all durable; the SHA-256 of each, hex. */
  close(): Readonly<Record<string, string>>;
}

function openFiles(folder: string): Files {
  const files = new Map<string, { file: PieceFile; sum: ReturnType<typeof createHash> }>();
  function begun(name: string) {
    const sum = createHash('sha256');
    const made = { file: openPieceFile(join(folder, name), (bytes) => sum.update(bytes)), sum };
    files.set(name, made);
    return made;
  }
  return {
    add(name, text) {
      (files.get(name) ?? begun(name)).file.add(text);
    },
    close() {
      for (const { file } of files.values()) file.finish();
      return Object.fromEntries([...files].map(([name, { sum }]) => [name, sum.digest('hex')]));
    },
  };
}

function writeWhole(file: string, text: string): void {
  const fd = openSync(file, 'wx', 0o600);
  writeSync(fd, text);
  fsyncSync(fd);
  closeSync(fd);
}
