/**
 * The resources as they stood at a moment, in the order in which the ledger issued them. What was recorded up to a
 * moment never changes afterwards, so the same moment gives the same resources however often it is asked, and nothing
 * is held open over the ledger meanwhile.
 */
import type Database from 'better-sqlite3';
import { typeOf, versionOf } from '../../fhir/bundle.ts';
import { partsOfId } from '../../fhir/reference.ts';
import { createFrameReader } from '../../store/sqlite/frames.ts';
import { createLogEnd, createPlaceFinder } from '../../store/sqlite/log-end.ts';

export interface Moments {
  /** Only what was issued later; null: all. */
  readonly sinceMs: number | null;
  /** Nothing issued later. */
  readonly untilMs: number;
}

export interface Page {
  /** Of the rows that are to be read, how many are behind. */
  readonly done: number;
  readonly total: number;
  readonly resources: readonly Current[];
}

export interface Current {
  readonly type: string;
  readonly drain: string;
  /** As it was issued. */
  readonly text: string;
}

interface IssueRow {
  readonly row: number;
  readonly drain: string;
  readonly resources: string;
}

const ROWS = 50;

/** Reads page by page; between two pages nothing of the database is in use. */
export function* currentResources(db: Database.Database, moments: Moments): Generator<Page, void> {
  const { first, end, endIndex } = boundsOf(db, moments);
  const page = db.prepare<[number, number], IssueRow>(
    'SELECT rowid AS row, drain, resources FROM issued WHERE rowid >= ? AND rowid < ? ORDER BY rowid',
  );
  const textsIn = createFrameReader(db);
  const isSuperseded = createSuperseded(db, endIndex);
  for (let row = first; row < end; row += ROWS) {
    const rows = page.all(row, Math.min(row + ROWS, end));
    const resources = rows.flatMap(({ drain, resources: stored }) =>
      textsIn(stored)
        .filter((text) => !isSuperseded(drain, text))
        .map((text) => ({ type: typeOf(text), drain, text })),
    );
    yield { done: Math.min(row + ROWS, end) - first, total: end - first, resources };
  }
}

/** Whether a later version had been issued by then. Whatever is issued a second time stands among the reissues. */
function createSuperseded(db: Database.Database, endIndex: number) {
  const later = db
    .prepare<[string, string, number, number], number>(
      'SELECT 1 FROM reissue WHERE drain = ? AND fact_key = ? AND version > ? AND log_index < ? LIMIT 1',
    )
    .pluck();
  // Asked once: most drains have nothing that was issued a second time, and no resource of theirs is looked up.
  const drains = new Set(
    db
      .prepare<[number], string>('SELECT DISTINCT drain FROM reissue WHERE version > 1 AND log_index < ?')
      .pluck()
      .all(endIndex),
  );
  return (drain: string, text: string): boolean => {
    if (!drains.has(drain)) return false;
    const { id, version } = versionOf(text);
    const { name, anchor } = partsOfId(id) ?? { name: '', anchor: '' };
    return later.get(drain, `${name}.${anchor}`, Number(version), endIndex) !== undefined;
  };
}

/** Ids of rows of `issued` count up in the order of the log, as times do; a lawful erasure may have left gaps. */
function boundsOf(db: Database.Database, { sinceMs, untilMs }: Moments) {
  const entries = createLogEnd(db)().index + 1;
  const placeAt = createPlaceFinder(db);
  const endIndex = placeAt(untilMs + 1, entries);
  const rowAt = createRowFinder(db);
  const first = sinceMs === null ? 1 : rowAt(placeAt(sinceMs + 1, entries));
  return { first, end: rowAt(endIndex), endIndex };
}

/** Finds the first row issued with an entry at a place of the log, or later. */
function createRowFinder(db: Database.Database): (logIndex: number) => number {
  const newest = db.prepare<[], number | null>('SELECT max(rowid) FROM issued').pluck();
  const indexOf = db
    .prepare<[number], number>('SELECT log_index FROM issued WHERE rowid >= ? ORDER BY rowid LIMIT 1')
    .pluck();
  return (logIndex) => {
    let [low, high] = [1, (newest.get() ?? 0) + 1];
    while (low < high) {
      const middle = Math.floor((low + high) / 2);
      if ((indexOf.get(middle) ?? 0) < logIndex) low = middle + 1;
      else high = middle;
    }
    return low;
  };
}
