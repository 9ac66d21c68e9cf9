/** Whether the newest entries are what they were: the end of a file is what a crash or a bad disk damages first. */
import type Database from 'better-sqlite3';
import { createErasures } from '../../audit/erasure.ts';
import { createLogCheck } from '../../audit/log-check.ts';
import { ledgerRows, StrayRow } from './ledger-rows.ts';
import { createTombstoneReader } from './tombstones.ts';

/** Recomputes them from their rows. Gives what is wrong first, in words, or null. */
export function createNewestCheck(db: Database.Database): (count: number) => string | null {
  const tombstones = createTombstoneReader(db);
  const newest = db.prepare<[], number | null>('SELECT max(log_index) FROM ledger').pluck();
  const hash = db
    .prepare<[string, number], string>('SELECT hash FROM ledger WHERE stream = ? AND seq = ?')
    .pluck();

  function faultSince(index: number): string | null {
    const hashAt = (stream: string, seq: number) => hash.get(stream, seq);
    const check = createLogCheck(createErasures(tombstones().all), { index, hashAt });
    for (const row of ledgerRows(db, index)) {
      const said = check.take(row);
      if ('kind' in said) return `${said.where}: ${said.what}`;
    }
    return null;
  }

  return (count) => {
    try {
      return faultSince(Math.max(0, (newest.get() ?? -1) + 1 - count));
    } catch (error) {
      if (error instanceof StrayRow) return error.message;
      throw error;
    }
  };
}
