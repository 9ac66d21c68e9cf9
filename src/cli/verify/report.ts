import type { Note, PublicKey, VerifierKey } from '../../audit/checkpoint.ts';
import type { Finding } from '../../audit/log-check.ts';

export interface VerifyOptions {
  /** The key that the auditor was given; null where none was. */
  readonly given: PublicKey | null;
  /** A witness whose word is wanted. */
  readonly witness?: VerifierKey | undefined;
  /** What was kept outside: where it was read from, and the heads in it. */
  readonly outside: readonly { readonly where: string; readonly note: Note }[];
  onProgress(done: number, total: number): void;
}

/** What a verification came to. */
export interface Report {
  /** What is wrong first; null where nothing is. */
  readonly finding: Finding | null;
  /** What was looked at, and what to know of it, for people. */
  readonly remarks: readonly string[];
}

const EXIT_CODES: Readonly<Record<Finding['kind'], number>> = {
  tampered: 1,
  incomplete: 2,
  'unknown-key': 3,
  unreadable: 4,
};

export const exitCodeOf = ({ finding }: Report): number => (finding === null ? 0 : EXIT_CODES[finding.kind]);

export function reportText({ finding, remarks }: Report): string {
  const verdict = finding === null ? 'ok' : `${finding.kind}: ${finding.where}: ${finding.what}`;
  return [...remarks, verdict, ''].join('\n');
}
