/**
 * Verifies an audit bundle. With note.ts and erased.ts before it this goes into every bundle as one file, verify.mjs, to be run
 * with Node 20 or later and nothing else for as long as there is one: so it imports nothing, and says again what it checks.
 *   node verify.mjs [FOLDER] --key PUBLIC-KEY [--witness PUBLIC-KEY]
 *     exit: 0 ok, 1 tampered, 2 incomplete, 3 key unknown, 4 unreadable
 */
import { createReadStream, readFileSync, realpathSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { parseArgs } from 'node:util';
import { type Content, checkContent, readTombstone, type Say, type Tombstone, tellSteps } from './erased.ts';
import {
  bytes,
  checkCosignature,
  checkSignature,
  type Head,
  hex,
  must,
  type Notice,
  newSum,
  readHead,
  sha256,
  type Verdict,
} from './note.ts';

type Entry = Content &
  Readonly<Record<'envelope' | 'hash', string>> & {
    readonly seq: number;
    readonly proof: readonly string[];
  };
type Manifest = Readonly<Record<'format' | 'log', string>> & {
  readonly about: { readonly from_index?: number; readonly to_index?: number };
  readonly entries: number;
  readonly files: Readonly<Record<string, string>>;
};

/** @param key C2SP verifier key of the log, or null where none is known @param witness of one whose word is wanted, or null */
export async function verifyBundle(
  folder: string,
  key: string | null,
  witness: string | null = null,
): Promise<Verdict> {
  try {
    return { code: 0, text: await check(folder, key, witness) };
  } catch (error) {
    if (error instanceof Error && 'verdict' in error) return error.verdict as Verdict;
    return { code: 4, text: `the bundle cannot be read: ${error instanceof Error ? error.message : error}` };
  }
}

/** In the first no hole is a number. */
const FORMATS = ['drainledger-audit-bundle@v1', 'drainledger-audit-bundle@v2'];

async function check(folder: string, key: string | null, witness: string | null): Promise<string> {
  const manifest = JSON.parse(readFileSync(join(folder, 'manifest.json'), 'utf8')) as Manifest;
  must(FORMATS.includes(manifest.format), 'manifest.json is of another kind of bundle', 4);
  for (const [name, due] of Object.entries(manifest.files))
    must((await fileHash(folder, name)) === due, `${name} is not the file that the manifest lists`);
  const head = readHead(readFileSync(join(folder, 'checkpoint.txt'), 'utf8'));
  const frames = await readFrames(folder);
  const tombstones = await readTombstones(folder, manifest, head);
  const names = ['resources', 'deliveries', ...Object.values(FILES)];
  const said = new Map(names.map((name) => [`${name}.ndjson`, newSum()]));
  const say: Say = (name, text) => said.get(name)?.update(text);
  const ends = new Map<string, Entry>();
  const notices: Notice[] = [];
  const { from_index = 0, to_index = from_index - 1 } = manifest.about;
  let [count, erased, last, reached, recordedAt] = [0, 0, -1, from_index - 1, ''];
  for await (const line of linesOf(folder, 'entries.ndjson')) {
    const entry = JSON.parse(line) as Entry;
    const place = placeOf(entry);
    must(entry.log_index > last, `${place}: it stands out of order`);
    const envelope = checkEntry(entry, place, manifest, tombstones);
    checkChain(entry, place, manifest, envelope.prev, ends.get(entry.stream));
    must(envelope.recorded_at >= recordedAt, `${place}: it was recorded before the entry before it`);
    reached = checkRange(manifest, entry, place, ends.has(entry.stream), reached);
    checkProof(entry, place, head);
    tell(entry, place, envelope.recorded_at, frames, say);
    tellSteps(entry, place, isPicked(manifest, entry.stream), tombstones, say);
    if (entry.stream === 'log') notices.push({ ...entry, body: entry.body ?? 'null', type: envelope.type });
    ends.set(entry.stream, entry);
    if (entry.body === null) erased += 1;
    [count, last, recordedAt] = [count + 1, entry.log_index, envelope.recorded_at];
  }
  must(count === manifest.entries, `${manifest.entries} entries are listed, and ${count} are here`, 2);
  must(reached === to_index, `entry ${reached + 1} is missing`, 2);
  for (const [name, sum] of said)
    must(sum.digest('hex') === manifest.files[name], `${name} is not what the entries say`);
  const told = checkSignature(head, notices, manifest.log, key) + checkCosignature(head, witness);
  const left = erased === 0 ? '' : `; of them lawfully erased: ${erased}`;
  return `${count} entries of ${manifest.log}, all in its checkpoint of ${head.size} entries, signed by ${key}${left}${told}`;
}

const placeOf = ({ log_index, stream, seq }: Entry): string =>
  `entry ${log_index} (stream ${stream}, ${seq})`;

async function fileHash(folder: string, name: string): Promise<string> {
  must(/^[A-Za-z-]+\.(ndjson|txt|mjs|py|md)$/.test(name), `${name} is no file of a bundle`);
  const sum = newSum();
  for await (const part of createReadStream(join(folder, name))) sum.update(part as Buffer);
  return sum.digest('hex');
}

/** By line feeds alone: a note may hold other characters that some take for the end of a line. */
async function* linesOf(folder: string, name: string): AsyncGenerator<string> {
  let rest = '';
  for await (const part of createReadStream(join(folder, name), 'utf8')) {
    const lines = `${rest}${part}`.split('\n');
    rest = lines.pop() ?? '';
    yield* lines;
  }
  if (rest !== '') yield rest;
}

/** Texts that many resources share, by the first 128 bits of SHA-256(0x05 || text). */
async function readFrames(folder: string): Promise<Map<string, string>> {
  const frames = new Map<string, string>();
  for await (const line of linesOf(folder, 'frames.ndjson')) {
    const { name, text } = JSON.parse(line) as { name: string; text: string };
    const isNamedSo = hex(Buffer.of(5), text).slice(0, 32) === name;
    must(isNamedSo, `frame ${name}: its text is not the one it is named after`);
    frames.set(name, text);
  }
  return frames;
}

/**
 * What entries say of others before them is read first. Each is proven before it is believed: what is said in its name would
 * otherwise be looked for where it is not. @returns newest first
 */
async function readTombstones(folder: string, manifest: Manifest, head: Head): Promise<Tombstone[]> {
  const found: Tombstone[] = [];
  for await (const line of linesOf(folder, 'entries.ndjson')) {
    const entry = JSON.parse(line) as Entry;
    if (entry.stream !== 'erasure') continue;
    checkEntry(entry, placeOf(entry), manifest, []);
    checkProof(entry, placeOf(entry), head);
    found.push(readTombstone(entry));
  }
  return found.sort((a, b) => b.at - a.at);
}

/** Hash of the envelope (0x03), and what it says of the entry. */
function checkEntry(entry: Entry, place: string, manifest: Manifest, tombstones: readonly Tombstone[]) {
  const { stream, seq, envelope, hash } = entry;
  must(hex(Buffer.of(3), envelope) === hash, `${place}: its hash is not that of its envelope`);
  const said = JSON.parse(envelope) as Record<string, string | number> & { recorded_at: string };
  must(said.stream === stream && said.seq === seq, `${place}: its envelope is of another place`);
  must(said.origin === manifest.log, `${place}: it is of the log ${said.origin}`);
  checkContent(entry, place, said, tombstones);
  return said;
}

/** The first of a stream follows its genesis. @param named hash of the entry before it, as its envelope has it */
function checkChain(entry: Entry, place: string, manifest: Manifest, named: unknown, before?: Entry): void {
  const { stream, seq } = entry;
  const isNext = before === undefined || seq === before.seq + 1;
  must(isNext || (isPicked(manifest, stream) && seq > before.seq), `${place}: one before it is missing`, 2);
  const prev = seq === 1 ? hex(`genesis${manifest.log}${stream}`) : isNext ? before?.hash : undefined;
  must(prev === undefined || named === prev, `${place}: the entry before it is not the one it names`);
}

/**
 * Of accesses, devices, deliveries, archives and what was unmatched only what was about the drain or patient is here; of
 * erasures, also beside a period, only what something here was erased by.
 */
const isPicked = ({ about }: Manifest, stream: string): boolean =>
  stream === 'erasure' ||
  (about.from_index === undefined && /^(access\.|device-|(unmatched|delivery|retention)$)/.test(stream));

/** A period is whole from end to end; all else, and the keys, from the first of its stream on. @param reached the last so far */
function checkRange(manifest: Manifest, entry: Entry, place: string, before: boolean, reached: number) {
  const { log_index: at, stream, seq } = entry;
  const { from_index: from, to_index: to } = manifest.about;
  const isOfPeriod = from !== undefined && to !== undefined && at >= from && at <= to;
  must(!isOfPeriod || at === reached + 1, `entry ${reached + 1} is missing`, 2);
  const mayBegin = seq === 1 || (isOfPeriod && stream !== 'log') || isPicked(manifest, stream);
  must(before || mayBegin, `${place}: what comes before it in its stream is missing`, 2);
  const mayStandOutside = stream === 'log' || stream === 'erasure';
  must(isOfPeriod || from === undefined || mayStandOutside, `${place}: it is not of the period`);
  return isOfPeriod ? at : reached;
}

/** RFC 9162, 2.1.3.2, of the leaf SHA-256(0x00 || entry hash). */
function checkProof({ log_index, hash, proof }: Entry, place: string, { size, root }: Head): void {
  must(log_index < size, `${place}: the checkpoint does not cover it`, 2);
  let [node, end, sum] = [log_index, size - 1, sha256(Buffer.of(0), Buffer.from(hash, 'hex'))];
  for (const each of proof.map(bytes)) {
    must(end > 0, `${place}: its proof is too long`);
    const isRight = node % 2 === 1 || node === end;
    sum = isRight ? sha256(Buffer.of(1), each, sum) : sha256(Buffer.of(1), sum, each);
    while (isRight && node % 2 === 0 && node !== 0) [node, end] = [node / 2, Math.floor(end / 2)];
    [node, end] = [Math.floor(node / 2), Math.floor(end / 2)];
  }
  must(end === 0 && sum.equals(root), `${place}: its proof does not lead to the checkpoint`);
}

const FILES = { corrected: 'corrections', 'entered-in-error': 'corrections', access: 'accesses' };
/** What resources.ndjson, corrections.ndjson and accesses.ndjson must say of the entry. */
function tell(entry: Entry, place: string, at: string, frames: ReadonlyMap<string, string>, say: Say): void {
  const { log_index, body } = entry;
  for (const [name = '', ...holes] of entry.issued.flatMap((stored) => wholeOf(stored, place))) {
    const frame = frames.get(name);
    must(frame !== undefined, `${place}: the frame ${name} of a text issued with it is missing`, 2);
    const parts = frame.split('\u0001');
    const filled = parts.slice(1).map((part) => (holes[part.charCodeAt(0) - 32] ?? '') + part.slice(1));
    say('resources.ndjson', `{"log_index":${log_index},"resource":${[parts[0], ...filled].join('')}}\n`);
  }
  if (body === null) return;
  const { kind } = JSON.parse(body) as { kind: keyof typeof FILES };
  const line = `{"log_index":${log_index},"recorded_at":"${at}","body":${body}}\n`;
  if (Object.hasOwn(FILES, kind)) say(`${FILES[kind]}.ndjson`, line);
}

/** Texts that were issued together, each the name of its frame and its holes; a number stands for the text of that number so far. */
function wholeOf(stored: string, place: string): string[][] {
  const given: string[] = [];
  const textOf = (hole: string | number): string => {
    if (typeof hole === 'string') given.push(hole);
    const text = typeof hole === 'string' ? hole : given[hole];
    must(text !== undefined, `${place}: a text issued with it has nothing at ${hole}`, 4);
    return text;
  };
  const texts = JSON.parse(stored) as [string, ...(string | number)[]][];
  return texts.map(([name, ...holes]) => [name, ...holes.map(textOf)]);
}

async function main(given: string[]): Promise<void> {
  const options = { key: { type: 'string' }, witness: { type: 'string' } } as const;
  const { values, positionals } = parseArgs({ args: given, options, allowPositionals: true });
  const [folder = fileURLToPath(new URL('.', import.meta.url))] = positionals;
  const { code, text } = await verifyBundle(folder, values.key ?? null, values.witness ?? null);
  console.log(code === 0 ? `ok: ${text}` : text);
  process.exitCode = code;
}

if (process.argv[1] !== undefined && realpathSync(process.argv[1]) === fileURLToPath(import.meta.url))
  await main(process.argv.slice(2));
