/** Copies of a ledger in a temp folder, changed and verified. */
import { copyFileSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type Database from 'better-sqlite3';
import { readCheckpoint, type VerifierKey } from '../../src/audit/checkpoint.ts';
import { verifyDatabase } from '../../src/cli/verify/database.ts';
import { exitCodeOf, type Report } from '../../src/cli/verify/report.ts';
import * as by from './tampered.ts';

export interface Bench {
  readonly folder: string;
  /** The ledger that nothing was done to, and what was escrowed of it: at 14 and at all 16 entries. */
  readonly good: string;
  readonly first: string;
  readonly second: string;
  copy(): string;
  /** A copy that somebody changed with the triggers out of the way. */
  changed(change: (db: Database.Database) => void): string;
  remove(): void;
}

export async function openBench(): Promise<Bench> {
  const folder = mkdtempSync(join(tmpdir(), 'verify-test-'));
  const good = join(folder, 'good.db');
  const [first = '', second = ''] = await by.makeLedger(good);
  let copies = 0;
  function copy(): string {
    copies += 1;
    const to = join(folder, `copy-${copies}.db`);
    copyFileSync(good, to);
    return to;
  }
  return {
    folder,
    good,
    first,
    second,
    copy,
    changed(change) {
      const file = copy();
      by.tamper(file, change);
      return file;
    },
    remove: () => rmSync(folder, { recursive: true }),
  };
}

/** @param outside texts of checkpoints that were escrowed */
export function verify(
  file: string,
  outside: string[] = [],
  given: Buffer | null = by.PUBLIC,
  witness?: VerifierKey,
): Report {
  const seen = outside.map((text) => {
    const note = readCheckpoint(text);
    if (note === undefined) throw new Error('no checkpoint');
    return { where: `the escrowed checkpoint of ${note.size}`, note };
  });
  return verifyDatabase(file, { given, witness, outside: seen, onProgress() {} });
}

/** Exit code and what is said. */
export const outcome = (report: Report): [number, string | null] => [
  exitCodeOf(report),
  report.finding && `${report.finding.where}: ${report.finding.what}`,
];
