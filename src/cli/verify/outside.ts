/** Checkpoints that were kept outside: where nobody who can write to the ledger could change them. */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { readCheckpoint } from '../../audit/checkpoint.ts';
import type { Verdict } from '../../bundle-verifier/note.ts';
import { readEscrow } from '../../escrow/escrow-file.ts';
import type { VerifyOptions } from './report.ts';

type Outside = VerifyOptions['outside'];

/** An escrow file, a head file, or one checkpoint as it was signed. */
export function readOutside(file: string): Outside {
  const { notes, unreadable } = readEscrow(readFileSync(file, 'utf8'));
  if (notes.length === 0) throw new Error(`--checkpoint ${file} holds no checkpoint`);
  for (const line of unreadable)
    process.stderr.write(`${file}:${line} holds no checkpoint and is passed over\n`);
  return notes.map((note) => ({ where: `the checkpoint of ${note.size} entries in ${file}`, note }));
}

/**
 * Whether what was kept outside says the same as the checkpoint of a bundle. A bundle holds a part of the entries, so only
 * one of the same size can be compared: without one, a history that was rewritten and signed anew would look as good.
 * @param bundle a folder that is good by itself
 */
export function holdAgainst(bundle: string, outside: Outside): Verdict {
  const own = readCheckpoint(readFileSync(join(bundle, 'checkpoint.txt'), 'utf8'));
  if (own === undefined) return { code: 4, text: 'checkpoint.txt is no checkpoint' };
  const due = outside.filter(({ note }) => note.origin === own.origin && note.size === own.size);
  const [same] = due;
  const other = due.find(({ note }) => !note.root.equals(own.root));
  if (other !== undefined)
    return {
      code: 1,
      text: `${other.where} is of another history than the bundle: the log was rewritten, or that file is of another log`,
    };
  if (same === undefined)
    return {
      code: 2,
      text: `no checkpoint of ${own.size} entries was kept outside, and others cannot be compared: that the log was not rewritten before it was signed is not shown`,
    };
  return { code: 0, text: `its checkpoint is ${same.where.replace(/^the checkpoint/, 'the one')}` };
}
