/** Brings the index up to the ledger, batch by batch; each batch and how far it goes are one transaction. */
import type Database from 'better-sqlite3';
import { EVER, type MomentOf } from '../fhir/search/date-range.ts';
import { type Extract, extract, type Json } from '../fhir/search/extract.ts';
import { RESOURCE_TYPES } from '../fhir/search/resource-types.ts';
import { createNames, createSubjects, type Shapes } from './dictionaries.ts';
import type { LedgerEntry, LedgerReader } from './ledger.ts';
import { CURRENT } from './schema.ts';

export interface Follower {
  /** Number of entries in the ledger. */
  target(): number;
  /** Number of entries that are indexed. */
  reached(): number;
  /** Takes in a batch. @throws {OtherLedger} when the ledger has become shorter */
  step(): void;
}

/** How far the index goes; the hash tells a ledger that is another one, or an older copy. */
interface Head {
  /** The last issue that is indexed. */
  readonly issue: number;
  readonly logIndex: number;
  readonly hash: string;
}

const ENTRIES_IN_BATCH = 300;

/** @throws {OtherLedger} when what was indexed is not what the ledger holds */
export function createFollower(
  db: Database.Database,
  ledger: LedgerReader,
  shapes: Shapes,
  zone: MomentOf,
): Follower {
  const getHead = db.prepare<[], Buffer>("SELECT value FROM meta WHERE name = 'head'").pluck();
  const putHead = db.prepare("INSERT OR REPLACE INTO meta (name, value) VALUES ('head', ?)");
  const stored = getHead.get();
  let head: Head = stored === undefined ? NOTHING : (JSON.parse(stored.toString()) as Head);
  if (head.logIndex >= 0 && ledger.hashOf(head.logIndex) !== head.hash) throw new OtherLedger();
  const put = createPut(db, shapes);
  const take = db.transaction((entries: readonly LedgerEntry[]) => {
    for (const { logIndex, hash, issues } of entries) {
      for (const { issue, texts } of issues) {
        texts.forEach((text, position) => {
          const resource = JSON.parse(text) as Json;
          const type = RESOURCE_TYPES.find((each) => each.type === resource.resourceType);
          if (type !== undefined) put(extract(type, resource, zone), issue, position);
        });
        head = { issue: Math.max(head.issue, issue), logIndex, hash };
      }
    }
    putHead.run(Buffer.from(JSON.stringify(head)));
  });
  return {
    target: ledger.size,
    reached: () => head.logIndex + 1,
    step() {
      if (ledger.size() < head.logIndex + 1) throw new OtherLedger();
      const entries = ledger.entriesAfter(head.logIndex, head.issue, ENTRIES_IN_BATCH);
      if (entries.length > 0) take(entries);
    },
  };
}

const NOTHING: Head = { issue: 0, logIndex: -1, hash: '' };

/** The index was made from another ledger, or from entries that this one no longer has. */
export class OtherLedger extends Error {}

function createPut(db: Database.Database, shapes: Shapes) {
  const subjects = createSubjects(db);
  const names = createNames(db);
  const supersede = db.prepare(
    `UPDATE version SET superseded = ? WHERE id = ? AND superseded = ${CURRENT} AND shape IN (SELECT value FROM json_each(?))`,
  );
  const insert = db.prepare(
    `INSERT INTO version (row, id, issue, position, updated_ms, shape, subject, lo, hi, value)
     VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
  );
  const word = db.prepare('INSERT OR IGNORE INTO word (value, parameter, system, row) VALUES (?, ?, ?, ?)');
  let lastRow = db.prepare<[], number | null>('SELECT max(row) FROM version').pluck().get() ?? 0;

  return (found: Extract, issue: number, position: number): void => {
    const { id, version, updatedMs, shape, subject, value, words } = found;
    const { lo, hi } = found.effective ?? UNDATED;
    lastRow += 1;
    if (version !== '1') supersede.run(lastRow, id, JSON.stringify(shapesOf(shapes, shape.type)));
    const number = shapes.number(shape, hi - lo);
    insert.run(lastRow, id, issue, position, updatedMs, number, subjects.put(subject), lo, hi, value);
    for (const { parameter, system, value: text } of words) {
      const scope = system === null || system === '' ? 0 : names.put(system);
      word.run(text, names.put(parameter), scope, lastRow);
    }
  };
}

/** A range of no time at all: no date compares with it. */
const UNDATED = { lo: -EVER, hi: -EVER };

const shapesOf = (shapes: Shapes, type: string): readonly number[] =>
  [...shapes.all()].filter(({ shape }) => shape.type === type).map(({ number }) => number);
