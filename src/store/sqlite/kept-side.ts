/** What is kept beside the ledger: the sums of drains whose books left memory, and rows of the overview. */
import type Database from 'better-sqlite3';
import type { Policy } from '../../domain/advisories/policy.ts';
import type { Book } from '../../domain/book/book.ts';
import { A_DAY, sumsOf, WEEKS } from '../../domain/book/drain-sums.ts';
import { readSums, writeSums } from '../../domain/book/sums-text.ts';
import type { KeptStore } from '../kept-port.ts';
import type { BookShelf } from './book-shelf.ts';
import { createFooting } from './footing.ts';
import { type KeptFile, keptFileOf, openKeptFile } from './kept-file.ts';

export interface KeptSide {
  /** Keeps the sums of a book that leaves memory. */
  leaves(book: Book): void;
  /** What the store answers out of it. */
  reads(shelf: BookShelf): KeptStore;
  close(): void;
}

/** @param writer sees what the books hold: entries of a group that goes on, too */
export function createKeptSide(file: string, writer: Database.Database, policy: () => Policy): KeptSide {
  const kept: KeptFile = openKeptFile(keptFileOf(file));
  const footingOf = createFooting(writer);
  const siblings = writer
    .prepare<[object], string>(
      `SELECT drain FROM drain WHERE patient_key = (SELECT patient_key FROM drain WHERE drain = @drain)
       AND drain <> @drain ORDER BY drain`,
    )
    .pluck();

  function read(drain: string, what: string): string | null {
    const footing = footingOf(drain);
    return footing === null ? null : kept.read(drain, what, footing);
  }

  function write(drain: string, what: string, text: string): void {
    const footing = footingOf(drain);
    if (footing !== null) kept.write(drain, what, footing, text);
  }

  return {
    leaves(book) {
      const sums = sumsOf(book);
      const [day, weeks] = [writeSums(sums, A_DAY), writeSums(sums, WEEKS)];
      write(book.drain, 'sums', day);
      // A text of its own: most who ask want a day, and need not wait for weeks to be read.
      if (weeks !== day) write(book.drain, 'sums-of-weeks', weeks);
    },
    reads: (shelf) => ({
      footing: footingOf,
      sums(drain) {
        const at = shelf.look(drain);
        if (at !== undefined) return sumsOf(at);
        const text = read(drain, 'sums');
        if (text !== null) return readSums(drain, text, policy().settings);
        const book = shelf.take(drain, null).get(drain);
        return book === undefined ? null : sumsOf(book);
      },
      sumsOfWeeks(drain) {
        const text = read(drain, 'sums-of-weeks');
        return text === null ? null : readSums(drain, text, policy().settings);
      },
      siblings: (drain) => siblings.all({ drain }),
      keptRow: (drain) => read(drain, 'overview-row'),
      keepRow: (drain, text) => write(drain, 'overview-row', text),
    }),
    close: kept.close,
  };
}
