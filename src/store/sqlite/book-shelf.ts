/** The books in memory, and which of them make room for others. */
import { type Book, recentBook, type Subject } from '../../domain/book/book.ts';
import { stateOf } from '../../domain/fold/chart.ts';

export interface BookShelf {
  /**
   * The whole books, read from the ledger where they are not at hand.
   * @param linksPatient a patient the next entry links the drain to
   */
  take(drain: string, linksPatient: string | null): Subject;
  /** As {@link BookShelf.take}, but what is at hand may be only the newest part of them (`recentBook`). */
  takeRecent(drain: string, linksPatient: string | null): Subject;
  /** Forgets these books, to be read anew. */
  drop(subject: Subject): void;
  /** Forgets the books that a drain stands in, if any are kept. */
  forget(drain: string): void;
  clear(): void;
  /** The book of a drain, if it is kept; it may be only the newest part. */
  look(drain: string): Book | undefined;
  /** All books in turn leave: each is told of, and none is kept. */
  empty(): void;
}

/** How much the shelf holds. */
export interface Room {
  /** Entries of all books, where {@link SUMS_ONLY} intervals whose rows are not held count as one. */
  readonly entries: number;
  /** Entries that are held with their rows; beyond it the longest unused books are cut to their newest part. */
  readonly withRows: number;
}

/** The sums of an interval take about a sixth of the memory of an entry with its row. */
const SUMS_ONLY = 6;
/** Instants that a cut book keeps. It is cut again when it has grown by as many, so that cutting costs each entry little. */
const RECENT = 16;

interface Size {
  readonly withRows: number;
  readonly entries: number;
}

const NOTHING: Size = { withRows: 0, entries: 0 };

function sizeOf(subject: Subject): Size {
  let [withRows, sums] = [0, 0];
  for (const { members, chart } of subject.values()) {
    withRows += members.size;
    sums += Math.max(0, (stateOf(chart).intervals?.length ?? 0) - members.size);
  }
  return { withRows, entries: withRows + sums / SUMS_ONLY };
}

const isLong = (subject: Subject): boolean =>
  [...subject.values()].some(({ members }) => members.size >= 2 * RECENT);

/**
 * Keeps the books last used; never two books of one drain.
 * @param leaves told of each book that makes room for others, while it still stands for what the ledger holds
 * @param reachMs how far back before its newest part a book that is cut is to be summed
 */
export function createBookShelf(
  read: (drain: string, linksPatient: string | null) => Subject,
  room: Room,
  leaves: (book: Book) => void,
  reachMs: () => number,
): BookShelf {
  const shelf = new Map<string, Subject>();
  /** Of each when it was last used, the longest unused first: books grow where they stand. */
  const sizes = new Map<Subject, Size>();
  /** Those that can be cut, the longest unused first. */
  const long = new Set<Subject>();
  let held = NOTHING;

  function measure(subject: Subject, size: Size): void {
    const was = sizes.get(subject) ?? NOTHING;
    held = {
      withRows: held.withRows + size.withRows - was.withRows,
      entries: held.entries + size.entries - was.entries,
    };
  }

  function drop(subject: Subject): void {
    for (const drain of subject.keys()) shelf.delete(drain);
    measure(subject, NOTHING);
    sizes.delete(subject);
    long.delete(subject);
  }

  function forget(drain: string): void {
    const kept = shelf.get(drain);
    if (kept !== undefined) drop(kept);
  }

  function put(subject: Subject): void {
    // Older books that share a drain would go stale as soon as these are written to.
    for (const drain of subject.keys()) forget(drain);
    for (const drain of subject.keys()) shelf.set(drain, subject);
  }

  function cut(subject: Subject): void {
    // Whoever holds a book still holds all of it: another takes its place.
    const part = { instants: RECENT, sums_ms: reachMs() };
    for (const [drain, book] of subject) subject.set(drain, recentBook(book, part));
    const size = sizeOf(subject);
    measure(subject, size);
    sizes.set(subject, size);
    long.delete(subject);
  }

  /** Makes room for it, and for what it grew by since it was last used. */
  function used(subject: Subject): Subject {
    const size = sizeOf(subject);
    measure(subject, size);
    sizes.delete(subject);
    sizes.set(subject, size);
    long.delete(subject);
    if (isLong(subject)) long.add(subject);
    for (const unused of long) {
      if (held.withRows <= room.withRows || unused === subject) break;
      cut(unused);
    }
    for (const unused of sizes.keys()) {
      if (held.entries <= room.entries || unused === subject) break;
      leave(unused);
    }
    return subject;
  }

  function leave(subject: Subject): void {
    for (const book of subject.values()) leaves(book);
    drop(subject);
  }

  function taken(drain: string, linksPatient: string | null, isEnough: (kept: Subject) => boolean): Subject {
    const kept = shelf.get(drain);
    if (kept !== undefined && linksPatient === null && isEnough(kept)) return used(kept);
    forget(drain);
    const subject = read(drain, linksPatient);
    put(subject);
    return used(subject);
  }

  return {
    take: (drain, linksPatient) => taken(drain, linksPatient, isWhole),
    takeRecent: (drain, linksPatient) => taken(drain, linksPatient, () => true),
    drop,
    forget,
    clear() {
      shelf.clear();
      sizes.clear();
      long.clear();
      held = NOTHING;
    },
    look: (drain) => shelf.get(drain)?.get(drain),
    empty() {
      for (const subject of sizes.keys()) leave(subject);
    },
  };
}

const isWhole = (subject: Subject): boolean => [...subject.values()].every(({ left }) => left === 0);
