/** Brings the index up to the ledger, batch by batch; each batch and how far it goes are one transaction. */
import type Database from 'better-sqlite3';
import type { Reference } from '../domain/vocabulary/entry.ts';
import { createDateReader, EVER, type MomentOf } from '../fhir/search/date-range.ts';
import { type Extract, extract, type Json } from '../fhir/search/extract.ts';
import { createFramedExtractor } from '../fhir/search/framed-extract.ts';
import { RESOURCE_TYPES } from '../fhir/search/resource-types.ts';
import { AUDIT_EVENT } from '../fhir/search/type-audit-event.ts';
import { ID, split } from '../fhir/search/word.ts';
import { createSubjects, type Names, type Shapes } from './dictionaries.ts';
import type { LedgerEntry, LedgerReader } from './ledger.ts';
import { createNamings } from './namings.ts';
import { CURRENT } from './schema.ts';
import { createWordWriter, ROWS_OF_STEM } from './words.ts';

export interface Follower {
  /** Number of entries in the ledger. */
  target(): number;
  /** Number of entries that are indexed. */
  reached(): number;
  /**
   * Number of entries that have to be indexed for all to be found that concerns some patients: nothing later is about a
   * drain that was ever linked to one of them. All, before the index has once been level with the ledger.
   */
  neededOf(isOne: (patient: Reference) => boolean): number;
  /**
   * Takes in so many entries at most, and `least` of them even where it is told to end.
   * @throws {OtherLedger} when the ledger has become shorter
   */
  step(most: number, least?: number, isToEnd?: () => boolean): void;
}

/** How far the index goes; the hash tells a ledger that is another one, or an older copy. */
interface Head {
  /** The last issue that is indexed. */
  readonly issue: number;
  readonly logIndex: number;
  readonly hash: string;
}

/** @throws {OtherLedger} when what was indexed is not what the ledger holds */
export function createFollower(
  db: Database.Database,
  ledger: LedgerReader,
  dictionaries: Dictionaries,
  zone: MomentOf,
): Follower {
  const getHead = db.prepare<[], Buffer>("SELECT value FROM meta WHERE name = 'head'").pluck();
  const putHead = db.prepare("INSERT OR REPLACE INTO meta (name, value) VALUES ('head', ?)");
  const stored = getHead.get();
  let head: Head = stored === undefined ? NOTHING : (JSON.parse(stored.toString()) as Head);
  if (head.logIndex >= 0 && ledger.hashOf(head.logIndex) !== head.hash) throw new OtherLedger();
  const readDate = createDateReader(zone);
  const extractFramed = createFramedExtractor(RESOURCE_TYPES, readDate);
  const put = createPut(db, dictionaries);
  let hasBeenLevel = false;
  const take = db.transaction((entries: Iterable<LedgerEntry>, isEnough: (taken: number) => boolean) => {
    let taken = 0;
    for (const { logIndex, hash, issues, auditEvent, auditIssue } of entries) {
      const issued = issues.map(({ issue, resources }) =>
        resources.map((framed): Place => ({ found: extractFramed(framed), issue })),
      );
      // It names much of what the last issue names: their words share rows.
      if (auditEvent !== undefined) {
        const found = extract(AUDIT_EVENT, auditEvent as unknown as Json, readDate);
        issued.push([...(issued.pop() ?? []), { found, issue: auditIssue }]);
      }
      for (const places of issued) put(places);
      head = { issue: issues.at(-1)?.issue ?? head.issue, logIndex, hash };
      taken += 1;
      if (isEnough(taken)) break;
    }
    putHead.run(Buffer.from(JSON.stringify(head)));
  });
  return {
    target: ledger.size,
    reached: () => head.logIndex + 1,
    neededOf(isOne) {
      if (!hasBeenLevel) return ledger.size();
      for (const { logIndex, patient } of ledger.linksAfter(head.issue))
        if (patient !== null && isOne(patient)) return logIndex + 1;
      return head.logIndex + 1;
    },
    step(most, least = most, isToEnd = () => false) {
      ledger.atOneMoment(() => {
        const size = ledger.size();
        if (size < head.logIndex + 1) throw new OtherLedger();
        if (size > head.logIndex + 1)
          take(ledger.entriesAfter(head.logIndex, head.issue, most), (taken) => taken >= least && isToEnd());
        hasBeenLevel ||= head.logIndex + 1 >= size;
      });
    },
  };
}

const NOTHING: Head = { issue: 0, logIndex: -1, hash: '' };

/** The index was made from another ledger, or from entries that this one no longer has. */
export class OtherLedger extends Error {}

interface Dictionaries {
  readonly shapes: Shapes;
  readonly names: Names;
}

/** A row of the index; nothing is found where it is of a type that is not searched, and has its row all the same. */
interface Place {
  readonly found: Extract | undefined;
  readonly issue: number;
}

/** Takes in what stands together: what one issue holds, in its order, and what is made of its entry. */
type Put = (places: readonly Place[]) => void;

function createPut(db: Database.Database, { shapes, names }: Dictionaries): Put {
  const subjects = createSubjects(db);
  const namings = createNamings(db, names);
  const words = createWordWriter(db, names);
  const supersede = db.prepare(
    `UPDATE version SET superseded = ? WHERE superseded = ${CURRENT} AND id = ? AND shape IN (SELECT value FROM json_each(?))
       AND row IN (${ROWS_OF_STEM})`,
  );
  const insert = db.prepare(
    `INSERT INTO version (row, id, issue, position, updated_ms, shape, subject, naming, lo, hi, value)
     VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
  );
  let lastRow = db.prepare<[], number | null>('SELECT max(row) FROM version').pluck().get() ?? 0;

  function putOne(row: number, found: Extract, issue: number, position: number): void {
    const { id, version, updatedMs, shape, subject, value } = found;
    const { lo, hi } = found.effective ?? UNDATED;
    if (version !== '1') {
      const those = JSON.stringify(shapesOf(shapes, shape.type));
      supersede.run(row, id, those, names.put(ID), split(id)[1]);
    }
    const number = shapes.number(shape, hi - lo);
    const naming = namings.number(shape.type, found.words);
    insert.run(row, id, issue, position, updatedMs, number, subjects.put(subject), naming, lo, hi, value);
  }

  return (places) => {
    const first = lastRow + 1;
    places.forEach(({ found, issue }, position) => {
      if (found !== undefined) putOne(first + position, found, issue, position);
    });
    words.put(
      first,
      places.map(({ found }) => found),
    );
    lastRow += places.length;
  };
}

/** A range of no time at all: no date compares with it. */
const UNDATED = { lo: -EVER, hi: -EVER };

const shapesOf = (shapes: Shapes, type: string): readonly number[] =>
  [...shapes.all()].filter(({ shape }) => shape.type === type).map(({ number }) => number);
