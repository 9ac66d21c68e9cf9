/** What is read of a drain in one pass is what the store answers about it, piece by piece. */
import { expect, it } from 'vitest';
import type { Author } from '../../src/domain/vocabulary/entry.ts';
import { createDrainReader } from '../../src/store/sqlite/drain-reader.ts';
import {
  corrected,
  dec,
  level,
  placed,
  reading,
  rowsIn,
  setUp,
  type Told,
  voided,
  WET_UNIT,
} from '../support/drain-script.ts';
import { DEFAULT_POLICY } from '../support/policy.ts';
import { incoming, ledgerForEach } from './ledger.ts';

const ledger = ledgerForEach();
const PUMP: Author = { type: 'device', identifier: { system: 'urn:example:test', value: 'pump' } };
/** Charted once in a quarter of an hour; what a device sends in between is interim. */
const UNIT = { ...WET_UNIT, charted_every_min: dec(15) };
const clock = (minute: number): string => `09:${String(minute).padStart(2, '0')}`;
const sent = (minute: number): Told => ({
  ...reading(`m${minute}`, clock(minute), { level_ml: dec(5 * minute) }),
  author: PUMP,
});
const ONE = placed('08:00', { patient: { reference: 'Patient/1' } });
const OTHER: Told = { ...ONE, key: 'other' };

async function tell(placement: Told, ...story: readonly Told[]): Promise<string> {
  for (const told of [placement, ...story]) {
    const [outcome] = await ledger.record([incoming(told, placement)]);
    expect(outcome?.kind).toBe('recorded');
  }
  return incoming(placement, placement).drain;
}

it('has what is charted and what is interim, in the order of the log, and the book of what counts', async () => {
  const minutes = Array.from({ length: 31 }, (_, n) => n);
  const one = await tell(
    ONE,
    setUp('08:00', 0, UNIT),
    ...minutes.map(sent),
    corrected('c', 'm15', level('', clock(15), 80)),
    voided('v', 'm30'),
  );
  const other = await tell(OTHER, { ...setUp('08:00', 0), key: 'up-other' }, level('b', '09:00', 40));

  const read = createDrainReader(ledger.db, () => DEFAULT_POLICY);
  for (const [drain, entries] of [
    [one, 35],
    [other, 3],
  ] as const) {
    const found = read(drain);
    if (found === undefined) throw new Error(`nothing counts for ${drain}`);
    const places = ledger.store.places(drain);
    const indexes = places.map(({ logIndex }) => logIndex);
    expect(found.places(drain)).toEqual(places);
    expect(indexes).toHaveLength(entries);
    expect(found.entriesAt(indexes)).toEqual(ledger.store.entriesAt(indexes));
    // Two that are held and one in between that is not.
    expect(found.entriesAt(indexes.slice(0, 4))).toEqual(ledger.store.entriesAt(indexes.slice(0, 4)));
    const books = ledger.store.books(drain);
    expect(found.book.head).toBe(books.get(drain)?.head);
    expect(rowsIn(new Map([[drain, found.book]]), drain)).toEqual(rowsIn(books, drain));
  }
  // Charted: m0 and m15, and of those in between none.
  expect(ledger.store.places(one).filter(({ type }) => type === 'interim')).toHaveLength(28);
});

it('knows nothing of a drain that is none', () => {
  expect(createDrainReader(ledger.db, () => DEFAULT_POLICY)('none')).toBeUndefined();
});
