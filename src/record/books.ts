/** Books as readers ask for them. */
import { askOf, type Subject } from '../domain/book/book.ts';
import type { Store } from '../store/port.ts';

/** What is read off the books of a drain and its patient: off their newest part where that is enough. */
export const readOff = <T>(
  store: Pick<Store, 'books' | 'recentBooks'>,
  drain: string,
  read: (subject: Subject) => T,
): T =>
  askOf(
    () => store.recentBooks(drain),
    () => store.books(drain),
    read,
  );
