/** Drains for whoever goes through them one after another: the book of each and what the ledger holds of it, in one pass. */
import type Database from 'better-sqlite3';
import type { Policy } from '../../domain/advisories/policy.ts';
import type { Book } from '../../domain/book/book.ts';
import type { Entry } from '../../domain/vocabulary/entry.ts';
import { type EntryPlace, INTERIM, type SentEntry, type Store } from '../port.ts';
import { createBookReader, entryFrom } from './books.ts';
import { concerning, createPlaceReads } from './places.ts';
import { sentEntry } from './stored-entry.ts';

/** As a store has it, of this drain alone. */
export interface DrainRead extends Pick<Store, 'places' | 'entriesAt'> {
  readonly book: Book;
}

type Concerning = [
  log_index: number,
  seq: number,
  stream: string,
  envelope: string,
  hash: string,
  body: string,
  countsFor: string | null,
];

/** @returns of a drain, undefined where nothing counts for it; each good until the next is asked for */
export function createDrainReader(
  db: Database.Database,
  policy: () => Policy,
): (drain: string) => DrainRead | undefined {
  const columns = 'log_index, seq, stream, envelope, hash, body';
  const rows = db.prepare<[object], Concerning>(concerning(columns, 'JOIN payload USING (log_index)')).raw();
  const { entriesAt } = createPlaceReads(db);
  const held = new Map<string, Held>();
  const readBooks = createBookReader(db, policy, (drain) => {
    const read = heldFrom(rows.iterate({ drain }), drain);
    held.set(drain, read);
    return read.counting;
  });
  return (drain) => {
    held.clear();
    const book = readBooks(drain, null).get(drain);
    const own = held.get(drain);
    if (book === undefined || own === undefined) return undefined;
    return { book, places: () => own.places, entriesAt: (indexes) => entriesOf(own, indexes, entriesAt) };
  };
}

interface Held {
  readonly places: readonly EntryPlace[];
  /** What the book of the drain is made of. */
  readonly counting: readonly Entry[];
  /** By their places; without interim ones, of which there may be any number. */
  readonly sent: ReadonlyMap<number, SentEntry>;
}

function heldFrom(rows: Iterable<Concerning>, drain: string): Held {
  const places: EntryPlace[] = [];
  const counting: Entry[] = [];
  const sent = new Map<number, SentEntry>();
  for (const [log_index, seq, stream, envelope, hash, body, countsFor] of rows) {
    const entry = sentEntry({ seq, log_index, envelope, hash, body });
    const { type, entryId, recordedAt } = entry;
    places.push({ logIndex: log_index, type, countsFor });
    if (type === INTERIM) continue;
    sent.set(log_index, entry);
    if (countsFor === drain) counting.push(...entryFrom(drain, { seq, stream, entryId, recordedAt, body }));
  }
  return { places, counting, sent };
}

function entriesOf(
  { sent }: Held,
  indexes: readonly number[],
  read: Store['entriesAt'],
): readonly SentEntry[] {
  const held = indexes.flatMap((index) => sent.get(index) ?? []);
  if (held.length === indexes.length) return held;
  const others = read(indexes.filter((index) => !sent.has(index)));
  return [...held, ...others].sort((a, b) => a.logIndex - b.logIndex);
}
