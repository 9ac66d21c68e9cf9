/** Books as the ledger has them. */
import type Database from 'better-sqlite3';
import { readStreamBody } from '../../audit/entry-text.ts';
import type { Policy } from '../../domain/advisories/policy.ts';
import { type Book, openBooks, type Subject } from '../../domain/book/book.ts';
import type { IssueStatus } from '../../domain/facts/issue.ts';
import { patientKey } from '../../domain/fold/drain.ts';
import { parseInstant } from '../../domain/numbers/instant.ts';
import type { Entry, EntryBody } from '../../domain/vocabulary/entry.ts';
import { INTERIM, type StoredEntry } from '../port.ts';

export interface LedgerRow {
  readonly seq: number;
  readonly stream: string;
  readonly envelope: string;
  readonly body: string;
}

interface ReissueRow {
  readonly fact_key: string;
  readonly version: number;
  readonly status: IssueStatus;
}

/** Whether `@drain` names a drain: the ledger has streams of other kinds, which no reader of drains may take for one. */
export const IS_DRAIN = 'EXISTS (SELECT 1 FROM drain WHERE drain = @drain)';

/** Those of its own stream, but for what was moved elsewhere, and those of other streams that were moved here. */
const ENTRIES_THAT_COUNT = `
  SELECT log_index, seq, stream, envelope, body FROM ledger JOIN payload USING (log_index)
  WHERE stream = @drain AND ${IS_DRAIN} AND json_extract(envelope, '$.type') <> '${INTERIM}' AND NOT EXISTS (
    SELECT 1 FROM device_chain_entry AS named JOIN device_chain USING (chain)
    WHERE named.log_index = ledger.log_index AND device_chain.drain IS NOT @drain)
  UNION ALL
  SELECT log_index, seq, stream, envelope, body
  FROM device_chain JOIN device_chain_entry USING (chain) JOIN ledger USING (log_index) JOIN payload USING (log_index)
  WHERE device_chain.drain = @drain AND stream <> @drain
  ORDER BY log_index`;

type ReadBooks = (drain: string, linksPatient: string | null) => Subject;
type ReadEntries = (drain: string) => readonly Entry[];

/**
 * Reads books from the ledger on one connection; interim entries are in no book, however many there are.
 * @param entriesOf what counts for a drain, in the order of the log
 */
export function createBookReader(
  db: Database.Database,
  policy: () => Policy,
  entriesOf: ReadEntries = createEntryReader(db),
): ReadBooks {
  const newest = db.prepare<[string], number>('SELECT max(seq) FROM ledger WHERE stream = ?').pluck();
  const reissues = db.prepare<[string], ReissueRow>(
    'SELECT fact_key, version, status FROM reissue WHERE drain = ? ORDER BY fact_key, version',
  );
  const drainsOf = db.prepare<[string], string>('SELECT drain FROM drain WHERE patient_key = ?').pluck();

  /** Every patient it was ever linked to: undoing one link may bring back another. */
  function drainsTogether(own: readonly Entry[], drain: string, linksPatient: string | null): string[] {
    const patients = new Set([linksPatient, ...own.flatMap(({ body }) => patientsIn(body))]);
    return [...new Set([drain, ...[...patients].flatMap((key) => (key === null ? [] : drainsOf.all(key)))])];
  }

  /** The books of a drain, and of all drains of its patient and of the patient it is about to be linked to. */
  return (drain, linksPatient) => {
    const ledger = new Map<string, readonly Entry[]>();
    const reissued = new Map<string, Book['reissues']>();
    const own = entriesOf(drain);
    for (const name of drainsTogether(own, drain, linksPatient)) {
      const told = name === drain ? own : entriesOf(name);
      if (told.length === 0) continue;
      ledger.set(name, told);
      reissued.set(name, new Map(reissues.all(name).map(({ fact_key, ...issue }) => [fact_key, issue])));
    }
    const subject = openBooks(ledger, reissued, policy());
    // The newest entry of a drain's own stream may be in no book, and others may stand elsewhere.
    for (const book of subject.values()) book.head = newest.get(book.drain) ?? 0;
    return subject;
  };
}

type CountingList = [log_index: number, seq: number, stream: string, envelope: string, body: string];

function createEntryReader(db: Database.Database): ReadEntries {
  const entries = db.prepare<[object], CountingList>(ENTRIES_THAT_COUNT).raw();
  return (drain) =>
    entries
      .all({ drain })
      .flatMap(([, seq, stream, envelope, body]) => toEntry(drain, { seq, stream, envelope, body }));
}

function patientsIn(body: EntryBody): (string | null)[] {
  const said = body.kind === 'corrected' ? body.replacement : body;
  return said.kind === 'placed' || said.kind === 'drain-updated' ? [patientKey(said.patient)] : [];
}

/** None where it says nothing of a drain itself. */
export function toEntry(drain: string, { seq, stream, envelope, body }: LedgerRow): readonly Entry[] {
  const { entry, recorded_at } = JSON.parse(envelope) as { entry: string; recorded_at: string };
  return entryFrom(drain, { seq, stream, entryId: entry, recordedAt: recorded_at, body });
}

type EntryParts = Pick<StoredEntry, 'seq' | 'entryId' | 'recordedAt' | 'body'> & { readonly stream: string };

/** As {@link toEntry}, of what its envelope says. */
export function entryFrom(
  drain: string,
  { seq, stream, entryId, recordedAt, body: text }: EntryParts,
): readonly Entry[] {
  const body = readStreamBody(text);
  if (body.kind === 'rerouted') return [];
  const [effective, recorded] = [parseInstant(body.effective_at), parseInstant(recordedAt)];
  if (effective === undefined || recorded === undefined) {
    throw new Error(`entry ${seq} of stream ${stream} holds no readable time; run verify on this database`);
  }
  return [{ id: entryId, drain, seq, effective, recorded_ms: recorded.ms, body }];
}
