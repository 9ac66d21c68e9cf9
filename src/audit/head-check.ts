/** Holds a recomputed log against what was signed of it. */
import { type Note, type PublicKey, restoresIn, signerOf, writeVerifierKey } from './checkpoint.ts';
import type { Finding } from './log-check.ts';
import type { Hash, Head } from './merkle.ts';
import type { KeyInLog } from './notices.ts';

export interface SeenHead {
  /** In words, such as 'checkpoint 1200 of the database'. */
  readonly where: string;
  readonly note: Note;
}

export interface HeadCheckOptions {
  /** Of the log. */
  readonly name: string;
  /** Places of the entries by which a person accepted a restore. */
  readonly restores: readonly number[];
  readonly keys: readonly KeyInLog[];
  /** The key that the auditor was given; null where none was. */
  readonly given: PublicKey | null;
}

export type Verdict =
  | Finding
  /** `signed` by a key that the auditor can trust. */
  | { readonly kind: 'holds'; readonly signed: boolean }
  /** Of a history that the log says was given up. */
  | { readonly kind: 'given-up' };

/**
 * Which keys count: the one that was given, those that it was handed the log by, and those that it hands it to. Whoever
 * was given a key that stands in place of a lost one was told of it, so what the lost one signed in its time counts too.
 */
function trustedKeys({ keys, given }: HeadCheckOptions): readonly PublicKey[] {
  if (given === null) return [];
  const at = keys.findIndex(({ key }) => key.equals(given));
  if (at < 0) return [given];
  const end = keys.findIndex(({ replaces }, n) => n > at && replaces !== null);
  return keys.slice(0, end < 0 ? undefined : end).map(({ key }) => key);
}

/** @param rootAt root of the recomputed log at the head's size; undefined where the log is shorter */
export function judgeHead(
  { where, note }: SeenHead,
  size: number,
  rootAt: Hash | undefined,
  options: HeadCheckOptions,
): Verdict {
  const restores = restoresIn(note.origin, options.name);
  const tampered = (what: string): Finding => ({ kind: 'tampered', where, what });
  // An empty log has no name that could differ.
  if (size === 0 && note.size > 0) return tailMissing(where, note, size);
  if (restores === undefined)
    return tampered(`it is of the log ${note.origin}, and this one is ${options.name}`);
  if (restores > options.restores.length)
    return {
      kind: 'incomplete',
      where,
      what: 'it is of the log after a restore that this copy knows nothing of',
    };
  const signer = signatureFault(note, options);
  if (typeof signer === 'object' && signer !== null && 'kind' in signer) return { ...signer, where };
  const end = options.restores[restores];
  if (end !== undefined && note.size > end) return { kind: 'given-up' };
  if (rootAt === undefined) return tailMissing(where, note, size);
  if (!rootAt.equals(note.root))
    return tampered(`the first ${note.size} entries are not those it speaks of: the history was rewritten`);
  return { kind: 'holds', signed: signer };
}

function tailMissing(where: string, { size }: Head, held: number): Finding {
  const what = `it covers ${size} entries, and only ${held} are here: the newest were dropped, or this is an old copy`;
  return { kind: 'incomplete', where, what };
}

/** Whether a key that counts signed it, or what is wrong with the signature. */
function signatureFault(note: Note, options: HeadCheckOptions): boolean | Omit<Finding, 'where'> {
  if (note.signatures.length === 0 || options.given === null) return false;
  const signer = signerOf(note, trustedKeys(options));
  if (signer === false) return { kind: 'tampered', what: 'its signature does not fit its text' };
  if (signer === null) return { kind: 'unknown-key', what: unknownKey(note, options) };
  const due = options.keys.findLast(({ logIndex }) => logIndex < note.size)?.key;
  if (due === undefined || due.equals(signer)) return true;
  return { kind: 'tampered', what: 'it is signed with a key that was not in use for a log of its size' };
}

function unknownKey(note: Note, { name, keys }: HeadCheckOptions): string {
  const named = keys.map(({ key }) => writeVerifierKey(name, key)).join(', ');
  const signers = note.signatures.map((each) => `${each.name}+${each.keyId}`).join(', ');
  const replaced = keys.find(({ logIndex, replaces }) => replaces !== null && logIndex < note.size);
  if (replaced !== undefined)
    return `it is signed by ${signers}, and entry ${replaced.logIndex} says that a key was lost: ask who answers for the log for the key since then; the log names ${named}`;
  return `it is signed by ${signers}, which is neither the key given nor follows from it; the log names ${named || 'none'}`;
}
