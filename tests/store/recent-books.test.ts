/** A ledger that holds only the newest part of its books answers like one that holds all of them. */
import { expect, it } from 'vitest';
import { advise } from '../../src/domain/book/advise.ts';
import { readOff } from '../../src/record/books.ts';
import type { Room } from '../../src/store/sqlite/book-shelf.ts';
import { corrected, level, placed, setUp, type Told, voided, weighed } from '../support/drain-script.ts';
import { DEFAULT_POLICY } from '../support/policy.ts';
import { written } from '../support/written.ts';
import { incoming, ledgerForEach } from './ledger.ts';

const ledger = ledgerForEach();

const PATIENT = { patient: { reference: 'Patient/p' } };
const ONE = placed('08:00', PATIENT);
const OTHER: Told = { ...placed('08:00', PATIENT), key: 'other' };
const ALONE: Told = { ...placed('08:00'), key: 'alone' };
const DRAIN = incoming(ONE, ONE).drain;
const clock = (n: number): string =>
  `${String(8 + Math.floor(n / 12)).padStart(2, '0')}:${String((n % 12) * 5).padStart(2, '0')}`;
const named = (name: string, told: Told): Told => ({ ...told, key: `${name}-${told.key}` });

/** What is told, and the placement of its drain. */
type Line = readonly [Told, Told];

/** Two drains of one patient and one of nobody, a reading each every five minutes, then what reaches far back. All invented. */
const STORY: readonly Line[] = [
  ...[ONE, OTHER, ALONE].map((each): Line => [each, each]),
  ...[ONE, OTHER, ALONE].map((each): Line => [named(each.key, setUp('08:00', 0)), each]),
  ...Array.from({ length: 90 }, (_, n) => n + 1).flatMap((n): readonly Line[] => [
    [level(`r${n}`, clock(n), 5 * n), ONE],
    [level(`other-${n}`, clock(n), 20 * n), OTHER],
    [level(`alone-${n}`, clock(n), n), ALONE],
  ]),
  [level('late', '08:57', 56), ONE],
  [corrected('c', 'r40', level('c', clock(40), 203)), ONE],
  [voided('v', 'other-10', '16:00'), OTHER],
  [weighed('kg', '08:01', 70), OTHER],
  [level('last', '15:59', 480), ONE],
];
const RECORDED_AT = Date.parse('2026-03-02T00:00:00Z');
const ALL: Room = { entries: 10_000, withRows: 10_000 };
const NEWEST: Room = { entries: 10_000, withRows: 1 };

/** All that senders and readers were told, and what was issued. */
async function told(room: Room) {
  await ledger.reopen({ file: `${ledger.file}.${room.withRows}`, room, now: () => RECORDED_AT });
  const outcomes: unknown[] = [];
  let mostLeft = 0;
  for (const [said, placement] of STORY) {
    outcomes.push(...(await ledger.record([incoming(said, placement)])));
    mostLeft = Math.max(mostLeft, ledger.store.recentBooks(DRAIN).get(DRAIN)?.left ?? 0);
  }
  const advised = readOff(ledger.store, DRAIN, (subject) =>
    advise([...subject.values()], DEFAULT_POLICY.rules),
  );
  const issued = ledger.db.prepare('SELECT drain, log_index, resources FROM issued ORDER BY log_index').all();
  return { outcomes, mostLeft, advised: written(advised), issued };
}

it('gives the same receipts, advisories and resources', async () => {
  const { mostLeft: none, ...all } = await told(ALL);
  const { mostLeft: some, ...newest } = await told(NEWEST);
  expect(newest.outcomes).toEqual(all.outcomes);
  expect(newest.issued).toEqual(all.issued);
  expect(newest.advised).toBe(all.advised);
  expect(all.outcomes).toHaveLength(STORY.length);
  expect(all.outcomes.every((outcome) => (outcome as { kind: string }).kind === 'recorded')).toBe(true);
  // Cut to 16 whenever it held 32, at last of 80; the one that had room for all was not.
  expect([none, some]).toEqual([0, 64]);
});

it('is found by what it was recorded under, however long ago', async () => {
  await told(NEWEST);
  const again = await ledger.record([incoming(level('r3', clock(3), 15), ONE)]);
  expect(again[0]?.kind).toBe('replayed');
});
