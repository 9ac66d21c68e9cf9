/** A drain as CSV, page by page, on a real SQLite file: one moment of it, whatever is charted while it is read. */
import { expect, it } from 'vitest';
import { drainCsv } from '../../src/record/csv/drain-csv.ts';
import { incoming, ledgerForEach } from '../store/ledger.ts';
import { corrected, level, placed, setUp, type Told, voided } from '../support/drain-script.ts';

const ledger = ledgerForEach();
const PLACED = placed();
const ALWAYS = { from: null, to: null };
const source = () => ({ ...ledger.store, isSeen: () => true, isTold: () => true });

async function tell(...story: readonly Told[]): Promise<void> {
  for (const told of story) {
    const [outcome] = await ledger.record([incoming(told, PLACED)]);
    expect(outcome?.kind).toBe('recorded');
  }
}

function bookNow() {
  const { drain } = incoming(PLACED, PLACED);
  const book = ledger.store.books(drain).get(drain);
  if (book === undefined) throw new Error('the drain was not placed');
  return book;
}

it('holds to the moment of the question while corrections come in between two pages', async () => {
  const times = Array.from({ length: 120 }, (_, n) => {
    const minutes = 481 + n;
    return `${String(Math.floor(minutes / 60)).padStart(2, '0')}:${String(minutes % 60).padStart(2, '0')}`;
  });
  await tell(PLACED, setUp('08:00', 0), ...times.map((time, n) => level(`r${n}`, time, n * 5)));
  const before = [...drainCsv(source(), bookNow(), ALWAYS)].join('');
  const pages = drainCsv(source(), bookNow(), ALWAYS)[Symbol.iterator]();
  const read = [pages.next().value, pages.next().value];
  await tell(
    corrected('late', 'r100', level('', times[100] ?? '', 499)),
    voided('gone', 'r119'),
    level('new', '12:00', 700),
  );
  for (let page = pages.next(); page.done !== true; page = pages.next()) read.push(page.value);
  expect(read.length).toBeGreaterThan(3);
  expect(read.join('')).toBe(before);
  const after = [...drainCsv(source(), bookNow(), ALWAYS)].join('');
  expect(after.split('\r\n').filter((line) => /,(correction|withdrawal),/.test(line))).toHaveLength(2);
});
