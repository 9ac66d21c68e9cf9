/** Which drains are due to be archived. */
import type Database from 'better-sqlite3';
import { recordedAtOf } from '../../store/sqlite/log-end.ts';
import { archivesIn } from '../archives.ts';
import { createHolder, type Group, groupsIn } from '../closed-drains.ts';

export type Due =
  | { readonly kind: 'due'; readonly group: Group }
  /** Nothing has been charted since it was archived. */
  | { readonly kind: 'archived'; readonly group: Group }
  | { readonly kind: 'recent'; readonly group: Group }
  /** Old enough, and something is still open: in words. */
  | { readonly kind: 'held'; readonly group: Group; readonly why: string };

interface Limits {
  /** Recorded before this, ms since the epoch. */
  readonly beforeMs: number;
  /** Entries that a checkpoint covers. */
  readonly covered: number;
}

/** Walks all drains of the ledger, by name; what is settled without reading a chart is settled first. */
export function* dueIn(db: Database.Database, { beforeMs, covered }: Limits): Generator<Due> {
  const archived = archivedIn(db);
  const whyHeld = createHolder(db);
  const recordedAt = createTimeReader(db);
  for (const group of groupsIn(db)) {
    const { drains, newest } = group;
    if (drains.every((drain) => (archived.get(drain) ?? 0) > newest)) yield { kind: 'archived', group };
    else if (recordedAt(newest) >= beforeMs) yield { kind: 'recent', group };
    else {
      const why =
        newest < covered ? whyHeld(group) : `no checkpoint covers the newest entry of ${drains[0]} yet`;
      yield why === null ? { kind: 'due', group } : { kind: 'held', group, why };
    }
  }
}

/** Of each drain that was ever archived: how many entries of the log its newest archive covers. */
const archivedIn = (db: Database.Database): Map<string, number> =>
  new Map(archivesIn(db).flatMap(({ drains, covered }) => drains.map((drain) => [drain, covered] as const)));

function createTimeReader(db: Database.Database): (logIndex: number) => number {
  const envelope = db.prepare<[number], string>('SELECT envelope FROM ledger WHERE log_index = ?').pluck();
  return (logIndex) => Date.parse(recordedAtOf(envelope.get(logIndex) ?? '{}'));
}
