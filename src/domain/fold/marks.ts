/** A mark says what is odd about an accepted entry; later entries may clear it. */
export type Mark = ExcludingMark | CountedMark;

/** While one of these stands, what the entry says is left out of the arithmetic. */
export type ExcludingMark =
  | 'before-placement'
  | 'after-removal'
  | 'above-capacity'
  | 'beyond-leak-scale'
  | 'conflicting-levels'
  | 'level-of-neither-run'
  | 'time-in-question';

/** These are for the eye; the entry counts. */
export type CountedMark =
  | 'finer-than-graduations'
  | 'sudden-jump'
  | 'clock-skew'
  | 'possible-double-entry'
  | 'suction-without-bubbling';

/** Marks by entry id, in the order they were found. */
export type MarkBook = Map<string, Mark[]>;

export function mark(book: MarkBook, id: string, found: Mark): void {
  const marks = book.get(id);
  if (marks === undefined) book.set(id, [found]);
  else if (!marks.includes(found)) marks.push(found);
}
