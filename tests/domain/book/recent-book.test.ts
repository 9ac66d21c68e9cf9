/** Books of which only the newest part is at hand: what is decided with them, and when they say that it is not enough. */
import fc from 'fast-check';
import { describe, expect, it, vi } from 'vitest';
import { chainOf, recentBook, type Subject } from '../../../src/domain/book/book.ts';
import { sumsOf, WEEKS } from '../../../src/domain/book/drain-sums.ts';
import { readSums, writeSums } from '../../../src/domain/book/sums-text.ts';
import { type Accepted, decide, enter } from '../../../src/domain/decide.ts';
import type { Refusal } from '../../../src/domain/fold/chains.ts';
import { rowsFrom, stateOf } from '../../../src/domain/fold/chart.ts';
import { type Measured, spanSum } from '../../../src/domain/fold/span.ts';
import { BeyondRecent } from '../../../src/domain/numbers/history.ts';
import { type EpochMs, epochMs, HOUR_MS } from '../../../src/domain/numbers/units.ts';
import {
  bookOf,
  entryOf,
  instilled,
  level,
  placed,
  reading,
  reopened,
  says,
  setUp,
  type Told,
  tell,
  voided,
} from '../../support/drain-script.ts';
import { arrivalOf, ledger, minute } from '../../support/ledgers.ts';
import { DEFAULT_POLICY } from '../../support/policy.ts';
import { written } from '../../support/written.ts';

// A failure needs time to shrink to its smallest form.
vi.setConfig({ testTimeout: 120_000 });

interface ToldShort {
  readonly subject: Subject;
  readonly decided: readonly (Accepted | Refusal)[];
  /** How often the newest part was not enough. */
  readonly wholesRead: number;
}

/** Tells a story to books that are cut after each entry, and read whole from the ledger where they ask for it. */
function tellToRecent(story: readonly Told[], instants: number, sums_h = 26): ToldShort {
  const part = { instants, sums_ms: sums_h * HOUR_MS };
  let subject: Subject = new Map();
  let wholesRead = 0;
  const accepted: Accepted[] = [];
  const decided: (Accepted | Refusal)[] = [];
  for (const told of story) {
    const entry = entryOf(told, (subject.get(told.drain ?? 'd1')?.head ?? 0) + 1);
    let decision: Accepted | Refusal;
    try {
      decision = decide(subject, entry, DEFAULT_POLICY);
    } catch (error) {
      if (!(error instanceof BeyondRecent)) throw error;
      wholesRead += 1;
      subject = reopened(accepted);
      decision = decide(subject, entry, DEFAULT_POLICY);
    }
    decided.push(decision);
    if ('refused' in decision) continue;
    enter(subject, decision, DEFAULT_POLICY);
    accepted.push(decision);
    for (const [drain, book] of subject) subject.set(drain, recentBook(book, part));
  }
  return { subject, decided, wholesRead };
}

/** All that goes out because of an entry, as text. */
const outcomeOf = (decided: Accepted | Refusal): string =>
  'refused' in decided
    ? written(decided)
    : written([
        decided.row,
        decided.late,
        decided.interim,
        decided.changes.map(({ drain, view, issued, advisories }) => ({ drain, view, issued, advisories })),
      ]);

/** One reading every ten minutes. */
const inOrder = (readings: number): readonly Told[] => [
  placed(),
  setUp('08:00', 0),
  ...Array.from({ length: readings }, (_, n) => level(`r${n}`, minute(10 * (n + 1)), 5 * (n + 1))),
];

/** A swing that was there is lost where it is absent. */
const swing = (key: string, after: number, tidaling: 'present' | 'absent'): Told =>
  reading(key, minute(after), { tidaling });

/** How far sums are kept beyond the newest instants; the ledgers last hours. */
const hours = fc.constantFrom(0, 0.5, 2, 26);

describe('the newest part of a book', () => {
  it('gives what the whole gives, or says that it is not enough', () => {
    fc.assert(
      fc.property(ledger.chain(arrivalOf), fc.integer({ min: 1, max: 6 }), hours, (story, most, sums_h) => {
        const whole = tell(story);
        const recent = tellToRecent(story, most, sums_h);
        expect(recent.decided.map(outcomeOf)).toEqual(whole.accepted.map(outcomeOf));
        for (const [drain, { head, circumstances, reissues }] of whole.subject) {
          expect(recent.subject.get(drain)).toMatchObject({ head, circumstances, reissues });
        }
      }),
      { numRuns: 300 },
    );
  });

  it('is enough for what is charted in order, however long', () => {
    const { subject, wholesRead } = tellToRecent(inOrder(300), 8);
    expect(wholesRead).toBe(0);
    const book = subject.get('d1');
    expect([book?.members.size, book?.chains.size, book?.left]).toEqual([8, 8, 294]);
    // Of ten minutes each: those of 26 h before the eight instants, with theirs, and two that begin before.
    expect(book === undefined ? null : stateOf(book.chart).intervals?.length).toBe(26 * 6 + 7 + 2);
  });

  it('is enough while an advisory stands that was raised long before', () => {
    // Raised at the second reading, and told again with each that follows.
    const story = [
      placed(),
      setUp('08:00', 0),
      swing('r0', 10, 'present'),
      ...Array.from({ length: 40 }, (_, n) => swing(`r${n + 1}`, 10 * (n + 2), 'absent')),
    ];
    const { decided, wholesRead } = tellToRecent(story, 4);
    expect(wholesRead).toBe(0);
    expect(decided.map(outcomeOf)).toEqual(tell(story).accepted.map(outcomeOf));
    const last = decided.at(-1);
    const standing = last === undefined || 'refused' in last ? [] : (last.changes[0]?.advisories.after ?? []);
    expect(standing.map(({ rule, raised }) => [rule.quantity, raised.at_text])).toContainEqual([
      'swing-lost',
      minute(20),
    ]);
  });

  it('tells an advisory that was raised within it of what comes to stand there later', () => {
    const story: readonly Told[] = [
      placed(),
      setUp('08:00', 0),
      ...Array.from({ length: 9 }, (_, n) => instilled(`i${n}`, minute(n + 1), 1)),
      swing('r0', 20, 'present'),
      swing('r1', 30, 'absent'),
      says('moved', minute(25), 'drain-updated', { encounter: { reference: 'Encounter/later' } }),
    ];
    const { decided, wholesRead } = tellToRecent(story, 4);
    expect(wholesRead).toBe(0);
    expect(decided.map(outcomeOf)).toEqual(tell(story).accepted.map(outcomeOf));
    const last = decided.at(-1);
    const issued = last === undefined || 'refused' in last ? [] : (last.changes[0]?.issued ?? []);
    expect(issued.find(({ fact }) => fact.name === 'advisory')?.fact.encounter).toEqual({
      reference: 'Encounter/later',
    });
  });

  it.each([
    ['its rows are asked for', (recent: ReturnType<typeof bookOf>) => rowsFrom(recent.chart, epochMs(0))],
    [
      'an entry is looked for that it may have held',
      (recent: ReturnType<typeof bookOf>) => chainOf(recent, { system: 'urn:example:test', value: 'r0' }),
    ],
    [
      'a reading comes that is earlier than it',
      (recent: ReturnType<typeof bookOf>) =>
        decide(new Map([['d1', recent]]), entryOf(level('late', minute(15), 7), 99), DEFAULT_POLICY),
    ],
  ])('says that it is not enough where %s', (_when, ask) => {
    const book = bookOf(inOrder(20));
    expect(() => ask(book)).not.toThrow();
    expect(() => ask(recentBook(book, { instants: 5, sums_ms: HOUR_MS }))).toThrow(BeyondRecent);
  });

  it('may become shorter still, by what is withdrawn of it', () => {
    const flushes = Array.from({ length: 9 }, (_, n) => instilled(`i${n}`, minute(n + 1), 1));
    const story = [
      placed(),
      setUp('08:00', 0),
      ...flushes,
      voided('v', 'i8'),
      instilled('i9', minute(20), 1),
    ];
    const { decided, wholesRead } = tellToRecent(story, 4);
    expect(wholesRead).toBe(0);
    expect(decided.map(outcomeOf)).toEqual(tell(story).accepted.map(outcomeOf));
  });

  it('is summed like the whole from where it says, when kept as text too', () => {
    const whole = bookOf(inOrder(300));
    const sums = sumsOf(recentBook(whole, { instants: 8, sums_ms: 3 * HOUR_MS }));
    // The last of 300 is at 3000 min; the eighth from the end at 2930; 3 h before that an interval begins, and one before it.
    expect(sums.since).toBe(Date.parse(minute(2930 - 180 - 20)) + 1);
    const to = epochMs(Date.parse(minute(2995)));
    const over = (measured: Measured, from: EpochMs) => written(spanSum(measured, from, to, 2 * HOUR_MS));
    const kept = readSums('d1', writeSums(sums, WEEKS), whole.circumstances.settings);
    expect(kept.since).toBe(sums.since);
    for (const from of [sums.since, epochMs(sums.since + HOUR_MS / 3)]) {
      expect(over(sums.state, from)).toBe(over(stateOf(whole.chart), from));
      expect(over(kept.state, from)).toBe(over(stateOf(whole.chart), from));
    }
    expect(() => over(sums.state, epochMs(sums.since - 1))).toThrow(BeyondRecent);
  });

  it('of a book that is no longer than that is the book itself', () => {
    const book = bookOf(inOrder(3));
    expect(recentBook(book, { instants: 10, sums_ms: 0 })).toBe(book);
  });
});
