/** `verify DATABASE|BUNDLE --key PUB [--witness PUB] [--checkpoint FILE]…` */
import { existsSync, readFileSync, statSync } from 'node:fs';
import { parseArgs } from 'node:util';
import { readVerifierKey, type VerifierKey } from '../../audit/checkpoint.ts';
import { readWitnessKey } from '../../audit/cosignature.ts';
import { verifyBundle } from '../../bundle-verifier/verify.ts';
import { readEscrow } from '../../escrow/escrow-file.ts';
import { progress } from '../progress.ts';
import { verifyDatabase } from './database.ts';
import { exitCodeOf, reportText, type VerifyOptions } from './report.ts';

const OPTIONS = {
  key: { type: 'string' },
  witness: { type: 'string' },
  checkpoint: { type: 'string', multiple: true },
} as const;

/** @returns the exit code: 0 ok, 1 tampered, 2 incomplete, 3 key unknown, 4 unreadable; null where it is asked wrongly */
export async function runVerify(args: readonly string[]): Promise<number | null> {
  const { values, positionals } = parseArgs({ args: [...args], options: OPTIONS, allowPositionals: true });
  const [target, ...more] = positionals;
  if (target === undefined || more.length > 0) return null;
  const key = values.key === undefined ? null : readKey(values.key, KEY);
  const witness = values.witness === undefined ? null : readKey(values.witness, WITNESS);
  if (existsSync(target) && statSync(target).isDirectory()) {
    const { code, text } = await verifyBundle(target, key?.text ?? null, witness?.text ?? null);
    process.stdout.write(`${code === 0 ? `ok: ${text}` : text}\n`);
    return code;
  }
  const given = key?.read.key ?? null;
  const outside = (values.checkpoint ?? []).flatMap(readOutside);
  const report = verifyDatabase(target, {
    given,
    witness: witness?.read,
    outside,
    onProgress: progress(),
  });
  process.stdout.write(reportText(report));
  return exitCodeOf(report);
}

interface KindOfKey {
  readonly option: string;
  /** Says whose key it is. */
  readonly mend: string;
  read(text: string): VerifierKey | undefined;
}
const KEY: KindOfKey = { option: '--key', mend: "what 'checkpoint-key show' prints", read: readVerifierKey };
const WITNESS: KindOfKey = { option: '--witness', mend: 'what the witness shows', read: readWitnessKey };

/** The key itself, or a file that holds it. */
function readKey(given: string, { option, mend, read }: KindOfKey) {
  const isFile = existsSync(given) && statSync(given).isFile();
  const text = (isFile ? readFileSync(given, 'utf8') : given).trim();
  const key = read(text);
  if (key !== undefined) return { text, read: key };
  throw new Error(`${option} ${given} is no public key, nor a file of one: give ${mend}`);
}

/** An escrow file, a head file, or one checkpoint as it was signed. */
function readOutside(file: string): VerifyOptions['outside'] {
  const { notes, unreadable } = readEscrow(readFileSync(file, 'utf8'));
  if (notes.length === 0) throw new Error(`--checkpoint ${file} holds no checkpoint`);
  for (const line of unreadable)
    process.stderr.write(`${file}:${line} holds no checkpoint and is passed over\n`);
  return notes.map((note) => ({ where: `the checkpoint of ${note.size} entries in ${file}`, note }));
}
