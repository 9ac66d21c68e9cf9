/** What a part of the ledger is proven by: the newest checkpoint that was signed, and whose keys it can be checked with. */
import type Database from 'better-sqlite3';
import { logOf, type Note, readCheckpoint, writeVerifierKey } from '../audit/checkpoint.ts';
import { keysInUse, readKeys } from '../audit/notices.ts';
import { createCheckpointReader } from '../store/sqlite/checkpoints.ts';
import { createNoticeReader } from '../store/sqlite/notices.ts';

export interface SignedHead {
  /** Its text. */
  readonly checkpoint: string;
  readonly head: Note;
  /** Name of the log. */
  readonly log: string;
  /** C2SP verifier keys that it covers, each handed over by the one before; the last has signed. */
  readonly keys: readonly string[];
}

/** @throws {Error} where none is kept */
export function signedHead(db: Database.Database): SignedHead {
  const checkpoint = createCheckpointReader(db).newestCheckpoint();
  const head = checkpoint === undefined ? undefined : readCheckpoint(checkpoint);
  if (checkpoint === undefined || head === undefined)
    throw new Error(
      'no checkpoint was ever signed here: a bundle would prove nothing; see DRAINLEDGER_CHECKPOINT_KEY',
    );
  const log = logOf(head.origin);
  const notices = createNoticeReader(db)().filter(({ logIndex }) => logIndex < head.size);
  const keys = keysInUse(readKeys(log, notices)).map(({ key }) => writeVerifierKey(log, key));
  return { checkpoint, head, log, keys };
}
