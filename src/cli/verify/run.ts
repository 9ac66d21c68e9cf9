/** `verify DATABASE|BUNDLE --key PUB [--checkpoint FILE]…` */
import { existsSync, readFileSync, statSync } from 'node:fs';
import { parseArgs } from 'node:util';
import { type PublicKey, readVerifierKey } from '../../audit/checkpoint.ts';
import { verifyBundle } from '../../bundle-verifier/verify.ts';
import { readEscrow } from '../../escrow/escrow-file.ts';
import { progress } from '../progress.ts';
import { verifyDatabase } from './database.ts';
import { exitCodeOf, reportText, type VerifyOptions } from './report.ts';

const OPTIONS = { key: { type: 'string' }, checkpoint: { type: 'string', multiple: true } } as const;

/** @returns the exit code: 0 ok, 1 tampered, 2 incomplete, 3 key unknown, 4 unreadable; null where it is asked wrongly */
export async function runVerify(args: readonly string[]): Promise<number | null> {
  const { values, positionals } = parseArgs({ args: [...args], options: OPTIONS, allowPositionals: true });
  const [target, ...more] = positionals;
  if (target === undefined || more.length > 0) return null;
  const key = values.key === undefined ? null : readKey(values.key);
  if (existsSync(target) && statSync(target).isDirectory()) {
    const { code, text } = await verifyBundle(target, key?.text ?? null);
    process.stdout.write(`${code === 0 ? `ok: ${text}` : text}\n`);
    return code;
  }
  const given = key?.key ?? null;
  const outside = (values.checkpoint ?? []).flatMap(readOutside);
  const report = verifyDatabase(target, { given, outside, onProgress: progress() });
  process.stdout.write(reportText(report));
  return exitCodeOf(report);
}

/** The key itself, or a file that holds it. */
function readKey(given: string): { readonly text: string; readonly key: PublicKey } {
  const isFile = existsSync(given) && statSync(given).isFile();
  const text = (isFile ? readFileSync(given, 'utf8') : given).trim();
  const read = readVerifierKey(text);
  if (read !== undefined) return { text, key: read.key };
  throw new Error(
    `--key ${given} is no public key, nor a file of one: give what 'checkpoint-key show' prints`,
  );
}

/** An escrow file, a head file, or one checkpoint as it was signed. */
function readOutside(file: string): VerifyOptions['outside'] {
  const { notes, unreadable } = readEscrow(readFileSync(file, 'utf8'));
  if (notes.length === 0) throw new Error(`--checkpoint ${file} holds no checkpoint`);
  for (const line of unreadable)
    process.stderr.write(`${file}:${line} holds no checkpoint and is passed over\n`);
  return notes.map((note) => ({ where: `the checkpoint of ${note.size} entries in ${file}`, note }));
}
