/** The checkpoints that were signed, and what witnesses said of them. */
import type Database from 'better-sqlite3';
import type { WitnessWord } from '../../audit/cosignature.ts';
import type { Head } from '../../audit/merkle.ts';
import type { LogTree } from '../log-port.ts';
import { createThinner } from './thinning.ts';
import type { Tree } from './tree.ts';

/** A checkpoint with the lines of all who signed it. */
const WHOLE = `note || coalesce((SELECT group_concat(line, '' ORDER BY witness) FROM cosignature c WHERE c.size = p.size), '')`;

export type CheckpointReads = Pick<
  LogTree,
  'newestCheckpoint' | 'newestCosigned' | 'checkpointAt' | 'newestBy'
>;

export function createCheckpointReader(db: Database.Database): CheckpointReads {
  const newest = db
    .prepare<[], string>(`SELECT ${WHOLE} FROM checkpoint p ORDER BY size DESC LIMIT 1`)
    .pluck();
  const cosigned = db
    .prepare<[], string>(`SELECT ${WHOLE} FROM checkpoint p WHERE size = (SELECT max(size) FROM cosignature)`)
    .pluck();
  const at = db.prepare<[number], string>(`SELECT ${WHOLE} FROM checkpoint p WHERE size = ?`).pluck();
  const by = db
    .prepare<[string], string>(
      `SELECT ${WHOLE} FROM checkpoint p WHERE size = (SELECT max(size) FROM cosignature WHERE witness = ?)`,
    )
    .pluck();
  return {
    newestCheckpoint: () => newest.get(),
    newestCosigned: () => cosigned.get(),
    checkpointAt: (size) => at.get(size),
    newestBy: (witness) => by.get(witness),
  };
}

/** Keeps the first word of each witness on a checkpoint, inside the transaction. */
export function createCosignatureWriter(
  db: Database.Database,
): (size: number, said: readonly WitnessWord[]) => void {
  const keep = db.prepare(
    'INSERT INTO cosignature (witness, size, line) VALUES (?, ?, ?) ON CONFLICT DO NOTHING',
  );
  return (size, said) => {
    for (const { witness, line } of said) keep.run(witness, size, line);
  };
}

/** Signs inside the transaction: what is signed is durable with what it speaks of before anybody sees it. */
export function createCheckpointWriter(
  db: Database.Database,
  tree: Tree,
): (sign: (head: Head) => string) => string | null {
  const last = db.prepare<[], number | null>('SELECT max(size) FROM checkpoint').pluck();
  const keep = db.prepare('INSERT INTO checkpoint (size, note) VALUES (?, ?)');
  const thin = createThinner(db);
  return (sign) => {
    tree.grow();
    const head = tree.head();
    if (head.size <= (last.get() ?? 0)) return null;
    const note = sign(head);
    keep.run(head.size, note);
    thin();
    return note;
  };
}
