/** Two verifiers of audit bundles, written apart in two languages, agree on a thousand random logs, whole and not. */
import { spawnSync } from 'node:child_process';
import { generateKeyPairSync } from 'node:crypto';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, expect, test } from 'vitest';
import { rawPublicKey, signCheckpoint, writeVerifierKey } from '../../src/audit/checkpoint.ts';
import { writeWitnessKey } from '../../src/audit/cosignature.ts';
import { verifyBundle } from '../../src/bundle-verifier/verify.ts';
import { seeded } from '../e2e/story.ts';
import { cosignatureOf, LOG, PICKED, randomBundle, writeBundle } from './random-bundle.ts';
import { DONE_TO_ERASED, type Done } from './two-verifiers-erasure.ts';

const SCRIPT = fileURLToPath(new URL('verify_many.py', import.meta.url));
const LOGS = 1000;
const seed = Number(process.env.SEED ?? Date.now() % 1_000_000);
const folder = mkdtempSync(join(tmpdir(), 'two-verifiers-'));
afterAll(() => rmSync(folder, { recursive: true }));

const hasPython = spawnSync('python3', ['--version']).status === 0;
if (!hasPython) {
  const reason = 'python3 is missing on this machine: the second verifier of audit bundles was not run';
  if (process.env.CI === 'true') throw new Error(reason);
  console.warn(`skipped: ${reason}`);
}

const stranger = generateKeyPairSync('ed25519').privateKey;

/** Each does one thing to a bundle, or gives false where there is nothing to do it to. */
const DONE: Readonly<Record<string, Done>> = {
  'another body': ({ entries }, pick) => {
    const entry = entries[pick(entries.length)];
    if (entry === undefined) return false;
    entry.body = (entry.body ?? '{"kind":"reading"}').replace('{', '{"x":1,');
    return true;
  },
  'another salt': ({ entries }, pick) => {
    const entry = entries[pick(entries.length)];
    if (entry === undefined) return false;
    entry.salt = (entry.salt ?? '').replace(/^.?/, (digit) => (digit === '0' ? '1' : '0'));
    return true;
  },
  'another envelope': ({ entries }, pick) => {
    const entry = entries[pick(entries.length)];
    if (entry === undefined) return false;
    entry.envelope = entry.envelope.replace('"v":1', '"v":2');
    return true;
  },
  'another sequence': ({ entries }, pick) => {
    const entry = entries[pick(entries.length)];
    if (entry === undefined) return false;
    entry.seq += 1;
    return true;
  },
  'an entry dropped': ({ entries, about }, pick) => {
    // The end of a drain, and any access or entry of a device, may be left out unseen, as the bundle itself says; not so of a period or the keys.
    const at = pick(entries.length);
    const { stream, log_index } = entries[at] ?? { stream: '', log_index: 0 };
    const isInPeriod = about.from_index !== undefined && log_index >= about.from_index;
    const isLast = !entries.some((each) => each.stream === stream && each.log_index > log_index);
    // Nor is an erasure missed that a later one tells of as well.
    const isPicked = PICKED.includes(stream) && (about.from_index === undefined || stream === 'erasure');
    if (isPicked && !(isInPeriod && log_index <= (about.to_index ?? -1))) return false;
    if (isLast && !(isInPeriod && log_index <= (about.to_index ?? -1))) return false;
    entries.splice(at, 1);
    return true;
  },
  'two entries swapped': ({ entries }, pick) => {
    const at = pick(entries.length - 1);
    const [one, two] = [entries[at], entries[at + 1]];
    if (one === undefined || two === undefined) return false;
    entries.splice(at, 2, two, one);
    return true;
  },
  'an entry twice': ({ entries }, pick) => {
    const entry = entries[pick(entries.length)];
    if (entry === undefined) return false;
    entries.push(entry);
    return true;
  },
  'a text added': ({ entries }, pick) => entries[pick(entries.length)]?.issued.push('[]') !== undefined,
  'a proof cut': ({ entries }, pick) => entries[pick(entries.length)]?.proof.pop() !== undefined,
  'a proof grown': ({ entries }, pick) =>
    entries[pick(entries.length)]?.proof.push(Buffer.alloc(32).toString('base64')) !== undefined,
  'a frame edited': (bundle) => {
    bundle.frames = bundle.frames.map(({ name, text }) => ({ name, text: text.replace('a', 'c') }));
    return true;
  },
  'a frame dropped': (bundle) => {
    const used = bundle.entries.some(({ issued }) =>
      issued.some((text) => text.includes(bundle.frames[0]?.name ?? '')),
    );
    bundle.frames = bundle.frames.slice(1);
    return used;
  },
  'another step': ({ entries }, pick) => {
    const steps = entries.flatMap((each) => each.steps ?? []);
    const step = steps[pick(steps.length)];
    if (step === undefined) return false;
    step.text = step.text.replace('"n":', '"n":1');
    return true;
  },
  'a step dropped': ({ entries, about }, pick) => {
    // In the bundle of a drain they are picked, so that one left out is not seen.
    const telling = entries.filter(({ steps = [] }) => steps.length > 0);
    return about.from_index !== undefined && telling[pick(telling.length)]?.steps?.pop() !== undefined;
  },
  'two steps swapped': ({ entries }, pick) => {
    const telling = entries.filter(({ steps = [] }) => steps.length > 1);
    return telling[pick(telling.length)]?.steps?.reverse() !== undefined;
  },
  'a step twice': ({ entries }, pick) => {
    const telling = entries.flatMap(({ steps = [] }) => (steps.length > 0 ? [steps] : []));
    const steps = telling[pick(telling.length)];
    return steps?.[0] !== undefined && steps.unshift(steps[0]) > 0;
  },
  ...DONE_TO_ERASED,
  'another key given': (bundle) => {
    bundle.key = writeVerifierKey(LOG, rawPublicKey(stranger));
    return true;
  },
  'the lost key given': (bundle) => {
    bundle.key = bundle.lost ?? bundle.key;
    return bundle.lost !== null;
  },
  'a witness who said nothing': (bundle) => {
    bundle.witness = writeWitnessKey({ name: 'witness.example', key: rawPublicKey(stranger) });
    return true;
  },
  'a key of the log given as that of a witness': (bundle) => {
    bundle.witness = bundle.key;
    return true;
  },
  'the word of a witness on something else': (bundle) => {
    const other = cosignatureOf(bundle.checkpoint.replace(/^/, 'x'), 1_800_000_000);
    bundle.checkpoint = bundle.checkpoint.replace(/\n— witness.example .*\n$/, `\n${other}`);
    return bundle.witness !== null;
  },
  'the word of a witness of no time that can be written': (bundle) => {
    const late = cosignatureOf(bundle.checkpoint, 2 ** 50);
    bundle.checkpoint = bundle.checkpoint.replace(/\n— witness.example .*\n$/, `\n${late}`);
    return bundle.witness !== null;
  },
  'the word of a witness at another time': (bundle) => {
    bundle.checkpoint = bundle.checkpoint.replace(/— witness.example (\S+)/, (_, base64: string) => {
      const bytes = Buffer.from(base64, 'base64');
      bytes.writeUInt8((bytes.readUInt8(11) + 1) % 256, 11);
      return `— witness.example ${bytes.toString('base64')}`;
    });
    return bundle.witness !== null;
  },
  'the word of a witness cut': (bundle) => {
    bundle.checkpoint = bundle.checkpoint.replace(/— witness.example (\S+)/, (_, base64: string) => {
      const bytes = Buffer.from(base64, 'base64');
      return `— witness.example ${bytes.subarray(0, -1).toString('base64')}`;
    });
    return bundle.witness !== null;
  },
  'another size': (bundle) => {
    bundle.checkpoint = bundle.checkpoint.replace(/\n(\d+)\n/, (_, size) => `\n${Number(size) + 1}\n`);
    return true;
  },
  'another signer': (bundle) => {
    const [origin = '', size = '', root = ''] = bundle.checkpoint.split('\n');
    bundle.checkpoint = signCheckpoint(
      { origin, size: Number(size), root: Buffer.from(root, 'base64') },
      stranger,
    );
    return true;
  },
  'another signature': (bundle) => {
    bundle.checkpoint = bundle.checkpoint.replace(/(— random\S+ \S+).{6}\n/, '$1AAAAA=\n');
    return true;
  },
};

test.skipIf(!hasPython)(
  `both say the same of ${LOGS} logs (seed ${seed})`,
  { timeout: 300_000 },
  async () => {
    const random = seeded(seed);
    const pick = (n: number): number => Math.floor(random() * n);
    const often = new Map<string, number>();
    const verdicts: { key: string; witness: string | null; path: string; code: number; done: string }[] = [];
    for (let n = 0; n < LOGS; n += 1) {
      const bundle = randomBundle(random);
      // What was done least often comes next, so that what few logs have room for is done as often as the rest.
      const [name = ''] = Object.keys(DONE).sort((a, b) => (often.get(a) ?? 0) - (often.get(b) ?? 0));
      const isDone = bundle.fault === null && n % 2 === 1 && DONE[name]?.(bundle, pick) === true;
      const done = bundle.fault ?? (isDone ? name : 'nothing');
      often.set(done, (often.get(done) ?? 0) + 1);
      const path = join(folder, String(n));
      writeBundle(path, bundle);
      const { code, text } = await verifyBundle(path, bundle.key, bundle.witness);
      expect({ path, done, text, isOk: code === 0 }).toEqual({ path, done, text, isOk: done === 'nothing' });
      verdicts.push({ key: bundle.key, witness: bundle.witness, path, code, done });
    }
    const kinds = ['nothing', 'a key replaced that was not in use', ...Object.keys(DONE)];
    expect(kinds.filter((kind) => (often.get(kind) ?? 0) < 3)).toEqual([]);
    const input = verdicts
      .map(({ key, witness, path }) => `${JSON.stringify([path, key, witness])}\n`)
      .join('');
    const { stdout, stderr, status } = spawnSync('python3', [SCRIPT], {
      input,
      encoding: 'utf8',
      timeout: 250_000,
    });
    expect({ status, stderr }).toEqual({ status: 0, stderr: '' });
    const said = stdout.trim().split('\n').map(Number);
    expect(said).toHaveLength(LOGS);
    expect(verdicts.filter(({ code }, n) => code !== said[n])).toEqual([]);
  },
);
