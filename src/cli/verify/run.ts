/** `verify DATABASE|BUNDLE --key PUB [--witness PUB] [--checkpoint FILE]… [--report FILE --sign KEY-FILE]` */
import { existsSync, readFileSync, statSync } from 'node:fs';
import { resolve } from 'node:path';
import { parseArgs } from 'node:util';
import { readVerifierKey, type VerifierKey } from '../../audit/checkpoint.ts';
import { readWitnessKey } from '../../audit/cosignature.ts';
import { readKeyFile } from '../../audit/key-file.ts';
import type { Verdict } from '../../bundle-verifier/note.ts';
import { verifyBundle } from '../../bundle-verifier/verify.ts';
import { appendLine } from '../../escrow/escrow-file.ts';
import { progress } from '../progress.ts';
import { verifyDatabase } from './database.ts';
import { holdAgainst, readOutside } from './outside.ts';
import { exitCodeOf, reportText, type VerifyOptions } from './report.ts';
import { reportKey, signReport } from './signed-report.ts';

const OPTIONS = {
  key: { type: 'string' },
  witness: { type: 'string' },
  checkpoint: { type: 'string', multiple: true },
  report: { type: 'string' },
  sign: { type: 'string' },
} as const;

/** @returns the exit code: 0 ok, 1 tampered, 2 incomplete, 3 key unknown, 4 unreadable; null where it is asked wrongly */
export async function runVerify(args: readonly string[]): Promise<number | null> {
  const { values, positionals } = parseArgs({ args: [...args], options: OPTIONS, allowPositionals: true });
  const [target, ...more] = positionals;
  if (target === undefined || more.length > 0) return null;
  const key = values.key === undefined ? null : readKey(values.key, KEY);
  const witness = values.witness === undefined ? null : readKey(values.witness, WITNESS);
  const tell = reporterOf(values, key?.read);
  const { code, text } = await verified(target, { key, witness, seen: values.checkpoint ?? [] });
  process.stdout.write(text);
  await tell(target, code, text);
  return code;
}

interface Wanted {
  readonly key: GivenKey | null;
  readonly witness: GivenKey | null;
  /** Files of checkpoints that were kept outside. */
  readonly seen: readonly string[];
}

async function verified(
  target: string,
  { key, witness, seen }: Wanted,
): Promise<{ code: number; text: string }> {
  const outside = seen.flatMap(readOutside);
  if (existsSync(target) && statSync(target).isDirectory()) {
    const { code, text } = await verifiedBundle(target, { key, witness, outside });
    return { code, text: `${code === 0 ? `ok: ${text}` : text}\n` };
  }
  const given = key?.read.key ?? null;
  const report = verifyDatabase(target, { given, witness: witness?.read, outside, onProgress: progress() });
  return { code: exitCodeOf(report), text: reportText(report) };
}

interface WantedOfBundle extends Pick<Wanted, 'key' | 'witness'> {
  readonly outside: VerifyOptions['outside'];
}

/** By itself, as the verifiers in it do, and only then against what was kept outside. */
async function verifiedBundle(folder: string, { key, witness, outside }: WantedOfBundle): Promise<Verdict> {
  const alone = await verifyBundle(folder, key?.text ?? null, witness?.text ?? null);
  if (alone.code !== 0 || outside.length === 0) return alone;
  const held = holdAgainst(folder, outside);
  return held.code === 0 ? { code: 0, text: `${alone.text}; ${held.text}` } : held;
}

/** Signs and appends the report, where one is wanted. @throws {Error} before anything is verified, where it could not be */
function reporterOf(
  { report, sign }: { readonly report?: string | undefined; readonly sign?: string | undefined },
  key: VerifierKey | undefined,
): (target: string, code: number, text: string) => Promise<void> {
  if (report === undefined && sign === undefined) return () => Promise.resolve();
  if (report === undefined || sign === undefined || key === undefined)
    throw new Error('--report FILE and --sign KEY-FILE go together, and need --key, which names the log');
  const signer = readKeyFile(sign);
  const log = key.name;
  return async (target, code, text) => {
    const at = new Date().toISOString();
    const said = signReport({ log, at, target: resolve(target), code, text }, signer);
    await appendLine(report, { at, exit: code, report: said });
    process.stderr.write(`${report} says so, to be checked with ${reportKey(log, signer)}\n`);
  };
}

interface GivenKey {
  readonly text: string;
  readonly read: VerifierKey;
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
function readKey(given: string, { option, mend, read }: KindOfKey): GivenKey {
  const isFile = existsSync(given) && statSync(given).isFile();
  const text = (isFile ? readFileSync(given, 'utf8') : given).trim();
  const key = read(text);
  if (key !== undefined) return { text, read: key };
  throw new Error(`${option} ${given} is no public key, nor a file of one: give ${mend}`);
}
