/**
 * Checkpoints of 30 days ago and more, thinned to the last of each minute: one a second told little more, and was the larger
 * part of what a quiet log holds. Those that a witness cosigned stay; what was told outside is nobody's here to thin.
 */
import type Database from 'better-sqlite3';
import { HOUR_MS } from '../../domain/numbers/units.ts';
import { createLogEnd, recordedAtOf } from './log-end.ts';

const KEPT_WHOLE_MS = 30 * 24 * HOUR_MS;
/** Looked at with each checkpoint that is made: the old ones of years are done within days, and no group waits for it. */
const MOST_AT_ONCE = 10;

/** Thins a little, inside the transaction of its group; a trigger refuses all else that could be deleted. */
export function createThinner(db: Database.Database): () => void {
  const next = db
    .prepare<[number], number>('SELECT size FROM checkpoint WHERE size > ? ORDER BY size LIMIT 2')
    .pluck();
  const isCosigned = db.prepare('SELECT 1 FROM cosignature WHERE size = ?');
  const envelope = db.prepare<[number], string>('SELECT envelope FROM ledger WHERE log_index = ?').pluck();
  const drop = db.prepare('DELETE FROM checkpoint WHERE size = ?');
  const end = createLogEnd(db);
  /** Of the newest entry that a checkpoint of this size covers. */
  const recordedAt = (size: number): string => recordedAtOf(envelope.get(size - 1) ?? '{}');
  let done = 0;

  return () => {
    const before = end().recordedMs - KEPT_WHOLE_MS;
    for (let looked = 0; looked < MOST_AT_ONCE; looked += 1) {
      const [size, later] = next.all(done);
      if (size === undefined || later === undefined) return;
      const at = recordedAt(size);
      if (Date.parse(at) >= before) return;
      const isOfSameMinute = at.slice(0, 16) === recordedAt(later).slice(0, 16);
      if (isOfSameMinute && isCosigned.get(size) === undefined) drop.run(size);
      done = size;
    }
  };
}
