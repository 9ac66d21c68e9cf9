/** What is kept beside the ledger: a convenience that is believed only while all that it rests on is as it was. */
import { rmSync, statSync, truncateSync, writeFileSync } from 'node:fs';
import Database from 'better-sqlite3';
import { describe, expect, it } from 'vitest';
import type { Book } from '../../src/domain/book/book.ts';
import { createOverview } from '../../src/record/overview/overview.ts';
import {
  type AskedTrends,
  patientTrendsOf,
  sourceOf,
  type TrendSource,
  trendsOf,
} from '../../src/record/trends/trends.ts';
import type { Store } from '../../src/store/port.ts';
import { openKeptFile } from '../../src/store/sqlite/kept-file.ts';
import { level, placed, setUp, type Told, voided, weighed } from '../support/drain-script.ts';
import { DEFAULT_POLICY, UTC_CALENDAR } from '../support/policy.ts';
import { incoming, ledgerForEach } from './ledger.ts';

const HOURS = 40;
const PATIENT = { patient: { reference: 'Patient/p' } };
const PLACED = placed('00:00', PATIENT);
const DRAIN = incoming(PLACED, PLACED).drain;
/** Longer than what is kept reaches back: sums that begin later than ever come from there. */
const LONG: readonly Told[] = [
  PLACED,
  setUp('00:00', 0),
  ...Array.from({ length: HOURS }, (_, n) => {
    const hour = String((n + 1) % 24).padStart(2, '0');
    return level(`level-${n}`, `+${Math.floor((n + 1) / 24)} ${hour}:00`, (n + 1) * 10);
  }),
];
const SIBLING: Told = { ...placed('00:00', PATIENT), key: 'sibling' };

const ledger = ledgerForEach();

async function tell(story: readonly Told[], placement = PLACED): Promise<void> {
  for (const told of story) {
    const [outcome] = await ledger.record([incoming(told, placement)]);
    expect(outcome?.kind).toBe('recorded');
  }
}

const isFromKept = (store: Store): boolean => (store.sums(DRAIN)?.since ?? -Infinity) > -Infinity;

const ASKED: AskedTrends = {
  series: ['net', 'rate', 'rate_per_kg'],
  ...{ bucket: 'hour', from: null, to: null, last_h: 24 },
};

const BY_DAY: AskedTrends = { ...ASKED, bucket: 'day', last_h: 168 };

/** From what is kept, or from sums in memory: no book is asked for. */
const hourly = (store: Store) => {
  const sums = store.sums(DRAIN);
  if (sums === null) throw new Error('there is no such drain');
  const book = () => {
    throw new Error('the sums reach back far enough');
  };
  const weeks = () => null;
  return trendsOf({ sums, weeks, book }, UTC_CALENDAR, ASKED);
};

/** From sums of weeks: none of the whole chart, and what is kept of a day does not reach so far. */
const daily = (store: Store) => {
  const sums = store.sums(DRAIN);
  if (sums === null) throw new Error('there is no such drain');
  const book = () => {
    throw new Error('sums of weeks are kept');
  };
  return trendsOf({ sums, weeks: () => store.sumsOfWeeks(DRAIN), book }, UTC_CALENDAR, BY_DAY);
};

const ofWhole = (store: Store, asked: AskedTrends) => {
  const book = store.books(DRAIN).get(DRAIN);
  if (book === undefined) throw new Error('there is no such drain');
  return trendsOf(sourceOf(book), UTC_CALENDAR, asked);
};
const hourlyOfWhole = (store: Store) => ofWhole(store, ASKED);

/** Does something to the file of what is kept while nobody has it open. */
async function whileClosed(work: (file: string) => void): Promise<void> {
  const { file } = ledger;
  await ledger.reopen({ file: `${file}.other` });
  work(`${file}.kept`);
  await ledger.reopen({ file });
}

interface KeptRow {
  readonly drain: string;
  readonly what: string;
  readonly digest: string;
  readonly text: string;
}

function rowsIn(file: string): readonly KeptRow[] {
  const db = new Database(file, { readonly: true });
  const rows = db.prepare<[], KeptRow>('SELECT * FROM kept').all();
  db.close();
  return rows;
}

function putInto(file: string, rows: readonly KeptRow[]): void {
  const db = new Database(file);
  const put = db.prepare('INSERT OR REPLACE INTO kept (drain, what, digest, text) VALUES (?, ?, ?, ?)');
  for (const { drain, what, digest, text } of rows) put.run(drain, what, digest, text);
  db.close();
}

async function keptNow(): Promise<readonly KeptRow[]> {
  let rows: readonly KeptRow[] = [];
  await whileClosed((file) => {
    rows = rowsIn(file);
  });
  return rows;
}

describe('the sums of a drain whose book left memory', () => {
  it('are read after a start, and give the trends that its chart gives', async () => {
    await tell(LONG);
    expect(isFromKept(ledger.store)).toBe(false);
    await ledger.reopen();
    expect(isFromKept(ledger.store)).toBe(true);
    const kept = hourly(ledger.store);
    expect(kept).toEqual(hourlyOfWhole(ledger.store));
    expect(kept).toMatchObject({
      series: { net: expect.arrayContaining([expect.objectContaining({ value: 10 })]) },
    });
    expect(isFromKept(ledger.store)).toBe(false);
  });

  it('reach back weeks where a week by day is asked for, as its chart gives it', async () => {
    await tell(LONG);
    await ledger.reopen();
    const kept = daily(ledger.store);
    expect(isFromKept(ledger.store)).toBe(true);
    expect(kept).toEqual(ofWhole(ledger.store, BY_DAY));
    // From 07:00 to 07:00, 10 mL an hour.
    expect(kept).toMatchObject({
      series: { net: expect.arrayContaining([expect.objectContaining({ value: 240 })]) },
    });
  });

  it('of weeks are not believed after an entry of the drain', async () => {
    await tell(LONG);
    await ledger.reopen();
    expect(ledger.store.sumsOfWeeks(DRAIN)).not.toBeNull();
    await tell([level('late', '05:30', 55)]);
    expect(ledger.store.sumsOfWeeks(DRAIN)).toBeNull();
  });

  it('are kept when other books need the room', async () => {
    await ledger.reopen({ room: { entries: 10, withRows: 10 } });
    await tell(LONG);
    expect(isFromKept(ledger.store)).toBe(false);
    const other: Told = { ...placed(), key: 'other' };
    await tell([other], other);
    expect(isFromKept(ledger.store)).toBe(true);
  });

  it.each<readonly [string, readonly Told[], Told]>([
    ['an entry of the drain', [level('late', '05:30', 55)], PLACED],
    ['a drain that joins its patient', [SIBLING], SIBLING],
    [
      'a weight on another drain of its patient',
      [SIBLING, { ...weighed('kg', '00:00', 70), drain: 'x' }],
      SIBLING,
    ],
  ])('are not believed after %s', async (_, story, placement) => {
    await tell(LONG);
    const before = ledger.store.footing(DRAIN);
    const kept = await keptNow();
    await tell(story, placement);
    // As the disk would bring it back if the newer rows had never reached it.
    await whileClosed((file) => putInto(file, kept));
    expect(ledger.store.footing(DRAIN)).not.toBe(before);
    expect(isFromKept(ledger.store)).toBe(false);
    expect(hourly(ledger.store)).toEqual(hourlyOfWhole(ledger.store));
  });

  it('are not believed under another configuration', async () => {
    await tell(LONG);
    await ledger.reopen();
    expect(isFromKept(ledger.store)).toBe(true);
    await ledger.store.configure('{"another":1}');
    expect(isFromKept(ledger.store)).toBe(false);
  });

  it('are not believed where a single character of them has changed, whichever', async () => {
    await tell(LONG);
    const [row] = await keptNow();
    if (row === undefined) throw new Error('nothing is kept');
    for (let n = 0; n < row.text.length; n += 211) {
      const other = row.text[n] === '1' ? '2' : '1';
      const text = `${row.text.slice(0, n)}${other}${row.text.slice(n + 1)}`;
      await whileClosed((file) => putInto(file, [{ ...row, text }]));
      expect(isFromKept(ledger.store)).toBe(false);
    }
    await whileClosed((file) => putInto(file, [row]));
    expect(isFromKept(ledger.store)).toBe(true);
  });

  it.each([
    ['no database at all', (file: string) => writeFileSync(file, 'no database')],
    ['cut short', (file: string) => truncateSync(file, 5000)],
    ['gone', (file: string) => rmSync(file)],
  ])('are worked out anew where the file is %s, and kept again', async (_, spoil) => {
    await tell(LONG);
    await ledger.reopen();
    const trends = hourly(ledger.store);
    await whileClosed(spoil);
    expect(isFromKept(ledger.store)).toBe(false);
    expect(hourly(ledger.store)).toEqual(trends);
    await ledger.reopen();
    expect(isFromKept(ledger.store)).toBe(true);
  });

  it('are for the eyes of their owner only, as the ledger is', () => {
    expect(statSync(`${ledger.file}.kept`).mode & 0o777).toBe(0o600);
  });
});

describe('the drains of a patient', () => {
  const OTHER = incoming(SIBLING, SIBLING).drain;
  const trendsOfPatient = (source: (drain: string) => TrendSource) => {
    const found = patientTrendsOf([DRAIN, OTHER].map(source), source(DRAIN).sums, UTC_CALENDAR, BY_DAY);
    if ('tooMany' in found) throw new Error('these are few');
    return { ...found, drains: found.drains.map(({ sums, series }) => [sums.drain, series]) };
  };

  it('are summed from what is kept of each, without a book', async () => {
    await tell(LONG);
    await tell([SIBLING, { ...level('one', '+1 10:00', 30), drain: 'x' }], SIBLING);
    await ledger.reopen();
    const { store } = ledger;
    expect(store.siblings(DRAIN)).toEqual([OTHER]);
    const kept = trendsOfPatient((drain) => {
      const sums = store.sums(drain);
      if (sums === null) throw new Error('there is no such drain');
      const book = () => {
        throw new Error('sums of weeks are kept');
      };
      return { sums, weeks: () => store.sumsOfWeeks(drain), book };
    });
    const books = store.books(DRAIN);
    const whole = trendsOfPatient((drain) => sourceOf(books.get(drain) as Book));
    expect(kept).toEqual(whole);
    expect(kept.drains).toHaveLength(2);
  });

  it('are no longer those of a drain that was never theirs', async () => {
    await tell([PLACED]);
    await tell([SIBLING], SIBLING);
    expect([ledger.store.siblings(DRAIN), ledger.store.siblings(OTHER)]).toEqual([[OTHER], [DRAIN]]);
    await tell([voided('gone', 'sibling')], SIBLING);
    expect([ledger.store.siblings(DRAIN), ledger.store.siblings(OTHER)]).toEqual([[], []]);
  });
});

describe('what is kept', () => {
  it('is believed of its drain, on its footing and by the program that wrote it, and of nothing else', () => {
    const file = `${ledger.file}.own`;
    const one = openKeptFile(file, () => 'one');
    one.write('a', 'sums', 'footing', 'text');
    expect(one.read('a', 'sums', 'footing')).toBe('text');
    expect(one.read('a', 'sums', 'another')).toBeNull();
    expect(one.read('a', 'overview-row', 'footing')).toBeNull();
    one.close();
    putInto(
      file,
      rowsIn(file).map((row) => ({ ...row, drain: 'b' })),
    );
    const two = openKeptFile(file, () => 'two');
    expect(two.read('a', 'sums', 'footing')).toBeNull();
    two.close();
    const again = openKeptFile(file, () => 'one');
    expect(again.read('b', 'sums', 'footing')).toBeNull();
    expect(again.read('a', 'sums', 'footing')).toBe('text');
    again.close();
  });

  it('of the overview is told after a start with no book read, and as it would be worked out', async () => {
    await tell(LONG);
    await tell([SIBLING], SIBLING);
    const worked = await createOverview(ledger.store, DEFAULT_POLICY).rows();
    await ledger.reopen();
    const read: string[] = [];
    const store: Store = {
      ...ledger.store,
      books(drain) {
        read.push(drain);
        return ledger.store.books(drain);
      },
    };
    const overview = createOverview(store, DEFAULT_POLICY);
    expect(await overview.rows()).toEqual(JSON.parse(JSON.stringify(worked)));
    expect(worked).toHaveLength(2);
    expect(read).toEqual([]);
    await tell([level('one-more', '+1 17:00', 500)]);
    await overview.rows();
    // The drain, and the other of its patient.
    expect(read).toHaveLength(2);
  });
});
