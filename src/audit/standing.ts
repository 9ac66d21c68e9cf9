/** Whether a log is the one that others have seen: it must hold all they saw, unchanged. */
import { type Note, restoresIn } from './checkpoint.ts';
import type { Hash } from './merkle.ts';

/** A head that somebody kept. */
export interface KeptHead {
  /** In words, such as 'the head file /x'. */
  readonly where: string;
  readonly note: Note;
}

export interface StandingLog {
  readonly name: string;
  /** How often a person accepted that it goes on from what was left. */
  readonly restores: number;
  size(): number;
  rootAt(size: number): Hash;
}

/** A head that the log does not continue, and why in words. */
export interface Doubt {
  readonly head: KeptHead;
  readonly why: string;
}

/** @throws {Error} where a head is of another log: then a path is wrong, and nothing can be said */
export function doubtsOf(log: StandingLog, heads: readonly KeptHead[]): readonly Doubt[] {
  return heads.flatMap((head) => {
    const why = whyNot(log, head);
    return why === null ? [] : [{ head, why }];
  });
}

function whyNot(log: StandingLog, { where, note: { origin, size, root } }: KeptHead): string | null {
  const restores = restoresIn(origin, log.name);
  if (restores === undefined) {
    throw new Error(
      `${where} is of the log ${origin}, and this one is ${log.name}: correct the path or the name`,
    );
  }
  // What an accepted restore has given up is said in the log; only what was signed since counts.
  if (restores < log.restores) return null;
  if (restores > log.restores)
    return `it is a copy from before a restore that was accepted: ${where} is of ${origin}`;
  if (size > log.size())
    return `it holds ${log.size()} entries, and ${where} has seen ${size}: the newest were lost, or an old copy was restored`;
  if (log.rootAt(size).equals(root)) return null;
  return `its first ${size} entries are not those that ${where} has seen: this is another history`;
}
