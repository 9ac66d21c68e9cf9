/** What the index reads of the ledger, on a connection that can only read. */
import type { AuditEvent } from 'fhir/r4.js';
import type { Reference } from '../domain/vocabulary/entry.ts';
import type { Framed } from '../json/frame.ts';
import { createFramedReader, createTextReader } from '../store/sqlite/frames.ts';
import { openReader } from '../store/sqlite/open.ts';
import { createAuditEventReader } from './audit-events.ts';
import { createTakenReader } from './taken.ts';

/** One entry, with the resource versions that it issued and the AuditEvent that it is. */
export interface LedgerEntry {
  readonly logIndex: number;
  /** Hash of the entry, which stands for all before it in its stream. */
  readonly hash: string;
  /** Resources by where they are found again: an issue, and a place in it. */
  readonly issues: readonly LedgerIssue[];
  readonly auditEvent: AuditEvent | undefined;
  /** Where the AuditEvent is found again. */
  readonly auditIssue: number;
}

export interface LedgerIssue {
  readonly issue: number;
  readonly resources: readonly Framed[];
}

export interface LedgerReader {
  /** Entries later than a place in the ledger, and than an issue; each is read when it is its turn. */
  entriesAfter(logIndex: number, issue: number, most: number): Iterable<LedgerEntry>;
  /** Whom the drains that issues later than one are about were ever linked to; the newest issue first. */
  linksAfter(issue: number): Iterable<Link>;
  /** All that is read meanwhile is of one moment: each moment begins with none of the pages that were read at another. */
  atOneMoment<T>(work: () => T): T;
  /** Number of entries. */
  size(): number;
  /** How one text of an issue is read: the issue itself is read once for all of them. */
  textsAt(issue: number): (position: number) => string | undefined;
  /** Drains that were linked to a patient once, and are not now. */
  takenFrom(patient: Reference): readonly string[];
  /** Hash of an entry. */
  hashOf(logIndex: number): string | undefined;
  close(): void;
}

export interface Link {
  /** Of the entry that issued. */
  readonly logIndex: number;
  /** Null: nobody. */
  readonly patient: Reference | null;
}

interface Row {
  readonly issue: number;
  readonly logIndex: number;
  readonly resources: string;
}

/** Rows of `issued` are only ever added, so their rowids count up from 1 in the order of the log. */
export function openLedgerReader(file: string, canonical: string): LedgerReader {
  const db = openReader(file);
  const entries = db.prepare<[number, number], { logIndex: number; hash: string }>(
    'SELECT log_index AS logIndex, hash FROM ledger WHERE log_index > ? ORDER BY log_index LIMIT ?',
  );
  const issues = db.prepare<[number], Row>(
    'SELECT rowid AS issue, log_index AS logIndex, resources FROM issued WHERE rowid > ? ORDER BY rowid',
  );
  const links = db.prepare<[number], { logIndex: number; patient: string | null }>(
    `SELECT i.log_index AS logIndex, d.patient FROM issued i CROSS JOIN drain_patient d ON d.drain = i.drain
     WHERE i.rowid > ? ORDER BY i.rowid DESC`,
  );
  const newest = db.prepare<[], number | null>('SELECT max(log_index) FROM ledger').pluck();
  const resources = db.prepare<[number], string>('SELECT resources FROM issued WHERE rowid = ?').pluck();
  const hash = db.prepare<[number], string>('SELECT hash FROM ledger WHERE log_index = ?').pluck();
  const framedIn = createFramedReader(db);
  const textIn = createTextReader(db);
  const auditEvent = createAuditEventReader(db, canonical);

  /** By their entry. It stops at the first later one: a condition would be tried on all there are to the end of the ledger. */
  function issuesUpTo(last: number, issue: number): ReadonlyMap<number, readonly Row[]> {
    const byEntry = new Map<number, Row[]>();
    for (const row of issues.iterate(issue)) {
      if (row.logIndex > last) break;
      const rows = byEntry.get(row.logIndex);
      if (rows === undefined) byEntry.set(row.logIndex, [row]);
      else rows.push(row);
    }
    return byEntry;
  }

  return {
    *entriesAfter(logIndex, issue, most) {
      const found = entries.all(logIndex, most);
      const issued = issuesUpTo(lastOf(found), issue);
      for (const entry of found) {
        const rows = issued.get(entry.logIndex) ?? [];
        yield {
          ...entry,
          issues: rows.map((row) => ({ issue: row.issue, resources: framedIn(row.resources) })),
          auditEvent: auditEvent(entry.logIndex),
          auditIssue: projectedIssue(entry.logIndex),
        };
      }
    },
    *linksAfter(issue) {
      for (const { logIndex, patient } of links.iterate(issue))
        yield { logIndex, patient: JSON.parse(patient ?? 'null') as Reference | null };
    },
    atOneMoment: (work) => db.transaction(work)(),
    size: () => (newest.get() ?? -1) + 1,
    textsAt(issue) {
      const logIndex = entryOfProjected(issue);
      return logIndex === null ? textIn(resources.get(issue) ?? '[]') : () => textOf(auditEvent(logIndex));
    },
    takenFrom: createTakenReader(db),
    hashOf: (logIndex) => hash.get(logIndex),
    close: () => db.close(),
  };
}

const lastOf = (entries: readonly { readonly logIndex: number }[]): number => entries.at(-1)?.logIndex ?? -1;

const textOf = (resource: AuditEvent | undefined): string | undefined =>
  resource === undefined ? undefined : JSON.stringify(resource);

/** What an entry itself is, is no row of `issued`: its number is below all of those. */
const projectedIssue = (logIndex: number): number => -1 - logIndex;
const entryOfProjected = (issue: number): number | null => (issue < 0 ? -1 - issue : null);
