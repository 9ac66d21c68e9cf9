/** What a witness said of the checkpoints that were held against the log. */
import type Database from 'better-sqlite3';
import { type Note, readCheckpoint } from '../../audit/checkpoint.ts';
import { cosignatureBy, writeWitnessKey } from '../../audit/cosignature.ts';
import type { Finding } from '../../audit/log-check.ts';
import type { VerifyOptions } from './report.ts';

interface Row {
  readonly size: number;
  readonly text: string;
}

/** @param db of a log that was found to be what its checkpoints, and those kept outside, say */
export function cosignatureFault(
  db: Database.Database,
  { witness: by, outside }: Pick<VerifyOptions, 'witness' | 'outside'>,
  remarks: string[],
): Finding | null {
  if (by === undefined) return null;
  const kept = db.prepare<[string], Row>(
    'SELECT size, note || line AS text FROM cosignature JOIN checkpoint USING (size) WHERE witness = ? ORDER BY size',
  );
  let count = 0;
  let newest = { size: 0, atS: 0 };
  const look = (where: string, note: Note | undefined, isItsWord: boolean): Finding | null => {
    const said = note === undefined ? false : cosignatureBy(note, by);
    if (said === false || (said === null && isItsWord))
      return { kind: 'tampered', where, what: `the cosignature of ${by.name} does not fit it` };
    if (said === null || note === undefined) return null;
    count += 1;
    if (note.size > newest.size) newest = { size: note.size, atS: said.atS };
    return null;
  };

  for (const { size, text } of kept.all(writeWitnessKey(by))) {
    const finding = look(`checkpoint ${size} of the database`, readCheckpoint(text), true);
    if (finding !== null) return finding;
  }
  for (const { where, note } of outside) {
    const finding = look(where, note, false);
    if (finding !== null) return finding;
  }
  if (count === 0)
    return { kind: 'incomplete', where: 'the log', what: `${by.name} cosigned no checkpoint of it` };
  remarks.push(
    `${by.name} cosigned ${count} of these, the newest of ${newest.size} entries at ${new Date(newest.atS * 1000).toISOString()}`,
  );
  return null;
}
