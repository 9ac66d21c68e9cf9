/** Audit bundles of invented logs, made from nothing but the rules of the log; whole, or with one thing done to them. */
import { createHash, generateKeyPairSync, type KeyObject, sign } from 'node:crypto';
import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import {
  entryHash,
  frameName,
  genesis,
  issuedCommitment,
  payloadCommitment,
  writeEnvelope,
} from '../../src/audit/chain.ts';
import { originOf, rawPublicKey, signCheckpoint, writeVerifierKey } from '../../src/audit/checkpoint.ts';
import { writeWitnessKey } from '../../src/audit/cosignature.ts';
import { stepHash, writeSteps } from '../../src/audit/delivery-steps.ts';
import { Frontier, inclusionProof, leafOf, type ReadSubtree } from '../../src/audit/merkle.ts';
import { writeFirstKey, writeReplacement, writeRestored, writeRotation } from '../../src/audit/notices.ts';
import { fill } from '../../src/json/frame.ts';
import { type AllGone, eraseSome, tellsOf } from './random-bundle-erasure.ts';

export const LOG = 'random.example';

export interface BundleEntry {
  log_index: number;
  stream: string;
  seq: number;
  envelope: string;
  hash: string;
  /** Null with the body where its payload was erased. */
  salt: string | null;
  body: string | null;
  issued: string[];
  proof: string[];
  /** Of an entry about deliveries. */
  steps?: Step[];
  /** Place of the newest entry that says what was erased of it. */
  erased?: number;
}

export interface Step {
  event: number;
  salt: string;
  text: string;
}

export interface Bundle {
  about: { from_index?: number; to_index?: number };
  entries: BundleEntry[];
  frames: { name: string; text: string }[];
  checkpoint: string;
  /** The key that the auditor is given. */
  key: string;
  /** The witness whose word the auditor wants; null where none is asked for. */
  witness: string | null;
  /** One that was lost before the checkpoint was signed. */
  lost: string | null;
  /** What was wrong from the beginning. */
  fault: string | null;
  gone: AllGone;
}

export type Random = () => number;
export const below = (random: Random, n: number): number => Math.floor(random() * n);
export const saltBy = (random: Random): Buffer =>
  Buffer.from(Array.from({ length: 16 }, () => below(random, 256)));
const FRAMES = ['{"a":\u0001 }', '{"a":\u0001 ,"b":[\u0001!,\u0001 ]}'].map((text) => ({
  name: frameName(text),
  text,
}));

/** A whole log of 2 to 40 entries: keys handed over and lost, restores, corrections, issued texts, odd characters, erasures. */
export function randomBundle(random: Random): Bundle {
  const ends = new Map<string, { seq: number; hash: string }>();
  const entries: BundleEntry[] = [];
  let [key, restores, nextStep] = [generateKeyPairSync('ed25519').privateKey, 0, 1 + below(random, 9)];
  // Of the keys that handed the log to one another, the first vouches for all since; one that was lost for nothing since.
  let first = rawPublicKey(key);
  const said: Pick<Bundle, 'lost' | 'fault' | 'gone'> = { lost: null, fault: null, gone: new Map() };

  /** Steps of deliveries of up to three drains, and the entry that tells of them. */
  function addSteps(): void {
    const steps = Array.from({ length: 1 + below(random, 4) }, (_, n): Step => {
      const salt = saltBy(random).toString('hex');
      return { event: nextStep + n, salt, text: `{"drain":"d${below(random, 3)}","kind":"ü","n":${n}}` };
    });
    const hashes = steps.map(({ salt, text }) => stepHash(Buffer.from(salt, 'hex'), text));
    add('delivery', 'delivery-steps', writeSteps({ first: nextStep, hashes }));
    nextStep += steps.length;
    const entry = entries.at(-1);
    if (entry !== undefined) entry.steps = steps;
  }

  function add(stream: string, type: string, body: string, issued: string[] = []): void {
    const log_index = entries.length;
    const { seq, hash: prev } = ends.get(stream) ?? { seq: 0, hash: genesis(LOG, stream) };
    const salt = saltBy(random);
    const at = new Date(1_800_000_000_000 + 1000 * Math.floor(log_index / 2)).toISOString();
    const envelope = writeEnvelope({
      v: 1,
      origin: LOG,
      stream,
      seq: seq + 1,
      prev,
      entry: `${stream}-${seq + 1}`,
      type,
      actor: { type: 'service' },
      effective_at: at,
      recorded_at: at,
      supersedes: null,
      payload: payloadCommitment(salt, body),
      issued: issuedCommitment(salt, issued),
    });
    const hash = entryHash(envelope);
    ends.set(stream, { seq: seq + 1, hash });
    entries.push({
      log_index,
      stream,
      seq: seq + 1,
      envelope,
      hash,
      salt: salt.toString('hex'),
      body,
      issued,
      proof: [],
    });
  }

  add('log', 'checkpoint-key', writeFirstKey(first));
  for (let rest = 1 + below(random, 39); rest > 0; rest -= 1) {
    const kind = below(random, 16);
    if (kind === 0) {
      const next = generateKeyPairSync('ed25519').privateKey;
      add('log', 'checkpoint-key', writeRotation(LOG, key, rawPublicKey(next)));
      key = next;
    } else if (kind === 1) {
      restores += 1;
      add('log', 'restored', writeRestored({ reason: 'r', doubt: 'd', given_up: [] }));
    } else if (kind === 15) {
      const isLost = below(random, 8) > 0;
      if (isLost) said.lost = writeVerifierKey(LOG, first);
      else said.fault = 'a key replaced that was not in use';
      const next = generateKeyPairSync('ed25519').privateKey;
      const last = rawPublicKey(isLost ? key : next);
      add('log', 'checkpoint-key', writeReplacement(last, rawPublicKey(next), 'the disk broke'));
      [key, first] = [next, rawPublicKey(next)];
    } else if (kind === 2) {
      addSteps();
    } else if (kind === 14) {
      const erased = eraseSome(random, entries, said.gone);
      if (erased !== null) add('erasure', 'erased', erased);
    } else if (kind < 5) {
      const stream = ACCESSED[below(random, ACCESSED.length)] ?? '';
      add(stream, 'access', `{"kind":"access","drains":["d${below(random, 3)}"]}`);
    } else {
      const says = kind < 7 ? (kind === 5 ? 'corrected' : 'entered-in-error') : 'reading';
      add(
        `d${below(random, 3)}`,
        says,
        `{"kind":"${says}","note":"ä \u2028 ${below(random, 1000)}"}`,
        issuedBy(random),
      );
    }
  }
  return { ...prove(random, entries, key, first, restores), ...said };
}

/** Streams of which a bundle of a drain holds what is about the drain. */
export const PICKED = [
  'access.2026-11-20.0',
  'access.2026-11-20.1',
  'device-m',
  'unmatched',
  'retention',
  'delivery',
  'erasure',
];
const ACCESSED = PICKED.slice(0, 5);

function issuedBy(random: Random): string[] {
  return Array.from({ length: below(random, 3) }, () => {
    const texts = Array.from({ length: 1 + below(random, 3) }, () => [
      FRAMES[below(random, 2)]?.name ?? '',
      String(below(random, 3)),
      `"ü${below(random, 3)}"`,
    ]);
    return JSON.stringify(below(random, 2) === 0 ? texts : shared(texts));
  });
}

/** What was written out before in the same text is the number of that, counted from 0; the first of each list is no hole. */
function shared(texts: readonly string[][]): (string | number)[][] {
  const written: string[] = [];
  const numbered = (hole: string): string | number => {
    const before = written.indexOf(hole);
    if (before === -1) written.push(hole);
    return before === -1 ? hole : before;
  };
  return texts.map(([name = '', ...holes]) => [name, ...holes.map(numbered)]);
}

/** The same back, by going over the text once more. */
function spelled(stored: string): string[][] {
  const texts = JSON.parse(stored) as (string | number)[][];
  const written = texts.flatMap(([, ...holes]) => holes).filter((hole) => typeof hole === 'string');
  return texts.map((text) => text.map((part) => (typeof part === 'string' ? part : (written[part] ?? ''))));
}

function prove(
  random: Random,
  all: BundleEntry[],
  key: KeyObject,
  first: Buffer,
  restores: number,
): Omit<Bundle, 'lost' | 'fault' | 'gone'> {
  const tree = new Frontier();
  for (const { hash } of all) tree.add(leafOf(hash));
  const read: ReadSubtree = (height, place) => {
    const part = new Frontier();
    for (const { hash } of all.slice(place * 2 ** height, (place + 1) * 2 ** height)) part.add(leafOf(hash));
    return part.root();
  };
  for (const entry of all)
    entry.proof = inclusionProof(read, entry.log_index, all.length).map((hash) => hash.toString('base64'));
  const about: Bundle['about'] = {};
  let entries = all;
  const part = below(random, 4);
  if (part < 2) {
    const [a, b] = [below(random, all.length), below(random, all.length)];
    Object.assign(about, { from_index: Math.min(a, b), to_index: Math.max(a, b) });
    const period = all.slice(Math.min(a, b), Math.max(a, b) + 1);
    entries = all.filter(
      (each) =>
        each.stream === 'log' ||
        period.includes(each) ||
        (each.stream === 'erasure' && tellsOf(each, period, true)),
    );
  } else if (part === 2) {
    // Of a drain: its own entries, and what was about it of accesses, deliveries, devices and what was unmatched.
    for (const entry of all)
      if (entry.steps !== undefined) entry.steps = entry.steps.filter(({ text }) => text.includes('d1'));
    const own = all.filter(
      ({ stream, body, steps = [] }) =>
        stream === 'd1' || steps.length > 0 || (ACCESSED.includes(stream) && body?.includes('"d1"') === true),
    );
    entries = all.filter(
      (each) =>
        each.stream === 'log' ||
        own.includes(each) ||
        (each.stream === 'erasure' && tellsOf(each, own, false)),
    );
  }
  const origin = originOf(LOG, restores);
  const signed = signCheckpoint({ origin, size: tree.size, root: tree.root() }, key);
  const witnessed = below(random, 2) === 0;
  return {
    about,
    entries,
    frames: FRAMES,
    checkpoint: witnessed ? `${signed}${cosignatureOf(signed, 1_800_000_000 + below(random, 1e6))}` : signed,
    witness: witnessed ? WITNESS_KEY : null,
    key: writeVerifierKey(LOG, random() < 0.5 ? first : rawPublicKey(key)),
  };
}

const witness = generateKeyPairSync('ed25519').privateKey;
const WITNESS_KEY = writeWitnessKey({ name: 'witness.example', key: rawPublicKey(witness) });

/** By the words of C2SP tlog-cosignature: the line of a witness for the body of a checkpoint. @param atS s since the epoch */
export function cosignatureOf(checkpoint: string, atS: number): string {
  const [body = ''] = checkpoint.split('\n\n');
  const time = Buffer.alloc(8);
  time.writeBigUInt64BE(BigInt(atS));
  const signature = sign(null, Buffer.from(`cosignature/v1\ntime ${atS}\n${body}\n`), witness);
  const id = Buffer.from(WITNESS_KEY.split('+')[1] ?? '', 'hex');
  return `— witness.example ${Buffer.concat([id, time, signature]).toString('base64')}\n`;
}

const saying = (entries: readonly BundleEntry[], kind: RegExp): string =>
  entries
    .filter(({ body }) => body !== null && kind.test(body))
    .map(
      ({ log_index, envelope, body }) =>
        `{"log_index":${log_index},"recorded_at":"${JSON.parse(envelope).recorded_at}","body":${body}}\n`,
    )
    .join('');

/** Writes it, with a manifest that fits what is written. */
export function writeBundle(folder: string, { about, entries, frames, checkpoint }: Bundle): void {
  mkdirSync(folder);
  const lines = (of: readonly object[]): string => of.map((each) => `${JSON.stringify(each)}\n`).join('');
  const texts = new Map(frames.map(({ name, text }) => [name, text]));
  const files: Record<string, string> = {
    'checkpoint.txt': checkpoint,
    'entries.ndjson': lines(entries),
    'frames.ndjson': lines(frames),
    'deliveries.ndjson': entries
      .flatMap(({ log_index, steps = [] }) =>
        steps.map(({ event, text }) => `{"log_index":${log_index},"event":${event},"step":${text}}\n`),
      )
      .join(''),
    'resources.ndjson': entries
      .flatMap(({ log_index, issued }) =>
        issued.flatMap((stored) =>
          spelled(stored).map(([name = '', ...holes]) => {
            const text = fill({ frame: { text: texts.get(name) ?? '' }, holes });
            return `{"log_index":${log_index},"resource":${text}}\n`;
          }),
        ),
      )
      .join(''),
    'corrections.ndjson': saying(entries, /"kind":"(corrected|entered-in-error)"/),
    'accesses.ndjson': saying(entries, /"kind":"access"/),
  };
  const sums = Object.entries(files).map(([name, text]) => [
    name,
    createHash('sha256').update(text).digest('hex'),
  ]);
  for (const [name, text] of Object.entries(files)) writeFileSync(join(folder, name), text);
  const format = 'drainledger-audit-bundle@v2';
  const manifest = { format, log: LOG, about, entries: entries.length, files: Object.fromEntries(sums) };
  writeFileSync(join(folder, 'manifest.json'), JSON.stringify(manifest));
}
