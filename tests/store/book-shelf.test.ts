/** Which books are kept in memory, and which make room for others. */
import { describe, expect, it } from 'vitest';
import { emptyBook, type Subject } from '../../src/domain/book/book.ts';
import { createBookShelf } from '../../src/store/sqlite/book-shelf.ts';
import { bookOf, level, placed, setUp } from '../support/drain-script.ts';
import { DEFAULT_POLICY } from '../support/policy.ts';

const booksOf = (...drains: readonly string[]): Subject =>
  new Map(drains.map((drain) => [drain, emptyBook(drain, DEFAULT_POLICY)]));

/** What the ledger would give: 'c' once shared a patient with 'a', and 'b' does now. */
const together: Readonly<Record<string, readonly string[]>> = { a: ['a', 'b'], b: ['a', 'b'], c: ['c', 'a'] };
const shelf = () =>
  createBookShelf(
    (drain) => booksOf(...(together[drain] ?? [])),
    { entries: 1000, withRows: 1000 },
    () => undefined,
    () => 0,
  );

it('gives the same books to every drain that stands in them', () => {
  const kept = shelf();
  expect(kept.take('b', null)).toBe(kept.take('a', null));
});

it('never keeps two books of one drain: those read first would go stale', () => {
  const kept = shelf();
  const before = kept.take('c', null);
  kept.take('b', null);
  expect(kept.take('c', null)).not.toBe(before);
});

it('forgets all drains of the books that one of them stands in, and nothing where none are kept', () => {
  const kept = shelf();
  const before = kept.take('a', null);
  kept.forget('b');
  expect(kept.take('a', null)).not.toBe(before);
  expect(() => kept.forget('unknown')).not.toThrow();
});

describe('room for so many entries', () => {
  const room = (left: string[]) =>
    createBookShelf(
      (drain) => booksOf(drain),
      { entries: 10, withRows: 10 },
      ({ drain }) => left.push(drain),
      () => 0,
    );
  /** Entries are charted in the books that are kept. */
  function chart(subject: Subject, drain: string, entries: number): void {
    const members = subject.get(drain)?.members as Map<string, string>;
    for (let n = 0; n < entries; n += 1) members.set(`${drain}-${members.size}`, drain);
  }

  it('is made by the books that were not used for longest', () => {
    const left: string[] = [];
    const kept = room(left);
    for (const drain of ['a', 'b', 'c']) chart(kept.take(drain, null), drain, 3);
    for (const drain of ['b', 'c', 'a']) kept.take(drain, null);
    chart(kept.take('c', null), 'c', 2);
    expect(left).toEqual([]);
    kept.take('c', null);
    expect(left).toEqual(['b']);
    expect([kept.look('a')?.members.size, kept.look('b'), kept.look('c')?.members.size]).toEqual([
      3,
      undefined,
      5,
    ]);
  });

  it('is not made by the books in use, however long they are', () => {
    const left: string[] = [];
    const kept = room(left);
    const subject = kept.take('a', null);
    chart(subject, 'a', 50);
    expect(kept.take('a', null)).toBe(subject);
    expect(left).toEqual([]);
  });

  it('is there again once books are dropped', () => {
    const left: string[] = [];
    const kept = room(left);
    for (const drain of ['a', 'b']) chart(kept.take(drain, null), drain, 5);
    kept.take('a', null);
    kept.take('b', null);
    kept.forget('a');
    chart(kept.take('c', null), 'c', 5);
    kept.take('c', null);
    expect(left).toEqual([]);
  });
});

describe('room for so many entries with their rows', () => {
  const minutes = (n: number): string =>
    `${String(8 + Math.floor(n / 60)).padStart(2, '0')}:${String(n % 60).padStart(2, '0')}`;
  /** A drain with a reading a minute. */
  const readOften = (drain: string, readings: number): Subject =>
    new Map([
      [
        drain,
        {
          ...bookOf([
            placed(),
            setUp('08:00', 0),
            ...Array.from({ length: readings }, (_, n) => level(`r${n}`, minutes(n + 1), n)),
          ]),
          drain,
        },
      ],
    ]);
  const room = (reads: string[]) =>
    createBookShelf(
      (drain) => {
        reads.push(drain);
        return readOften(drain, 98);
      },
      { entries: 1000, withRows: 250 },
      ({ drain }) => expect.unreachable(`${drain} left`),
      () => 0,
    );
  const heldOf = (kept: ReturnType<typeof room>, drain: string) => {
    const book = kept.look(drain);
    return [book?.members.size, book?.left];
  };

  it('is made by cutting the books that were not used for longest, and no more of them than need be', () => {
    const kept = room([]);
    for (const drain of ['a', 'b']) kept.takeRecent(drain, null);
    kept.takeRecent('a', null);
    kept.takeRecent('c', null);
    expect(['a', 'b', 'c'].map((drain) => heldOf(kept, drain))).toEqual([
      [100, 0],
      [16, 84],
      [100, 0],
    ]);
  });

  it('leaves the books as they are to whoever holds them', () => {
    const kept = room([]);
    const before = kept.take('a', null).get('a');
    for (const drain of ['b', 'c']) kept.take(drain, null);
    expect(before?.members.size).toBe(100);
    expect(kept.look('a')?.members.size).toBe(16);
  });

  it('gives the newest part without a read, and reads the whole for whoever wants it', () => {
    const reads: string[] = [];
    const kept = room(reads);
    for (const drain of ['a', 'b', 'c']) kept.take(drain, null);
    expect(kept.takeRecent('a', null).get('a')?.left).toBe(84);
    expect(reads).toEqual(['a', 'b', 'c']);
    expect(kept.take('a', null).get('a')?.left).toBe(0);
    expect(reads).toEqual(['a', 'b', 'c', 'a']);
  });

  it('makes no room by cutting books that are short already', () => {
    const short = createBookShelf(
      (drain) => readOften(drain, 20),
      { entries: 1000, withRows: 1 },
      () => undefined,
      () => 0,
    );
    for (const drain of ['a', 'b']) short.take(drain, null);
    expect(short.look('a')?.left).toBe(0);
  });
});
