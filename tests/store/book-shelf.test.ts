import { expect, it } from 'vitest';
import { emptyBook, type Subject } from '../../src/domain/book/book.ts';
import { createBookShelf } from '../../src/store/sqlite/books.ts';
import { DEFAULT_POLICY } from '../support/policy.ts';

const booksOf = (...drains: readonly string[]): Subject =>
  new Map(drains.map((drain) => [drain, emptyBook(drain, DEFAULT_POLICY)]));

/** What the ledger would give: 'c' once shared a patient with 'a', and 'b' does now. */
const together: Readonly<Record<string, readonly string[]>> = { a: ['a', 'b'], b: ['a', 'b'], c: ['c', 'a'] };
const shelf = () =>
  createBookShelf(
    (drain) => booksOf(...(together[drain] ?? [])),
    1000,
    () => undefined,
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
