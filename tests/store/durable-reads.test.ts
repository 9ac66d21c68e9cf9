/**
 * What is read while entries are on their way is durable: a second connection, which sees what is committed and nothing
 * else (SQLite, 'Isolation In SQLite'), says the same in the same moment.
 */
import { setImmediate as nextTurn } from 'node:timers/promises';
import { expect, test } from 'vitest';
import { createFooting } from '../../src/store/sqlite/footing.ts';
import { dec, type Says, type Told } from '../support/drain-script.ts';
import { minute } from '../support/ledgers.ts';
import { incoming, ledgerForEach } from './ledger.ts';

const ledger = ledgerForEach();

const DRAINS = [0, 1, 2];
const patientOf = (n: number) => ({ reference: `Patient/${n}` });
const placements = DRAINS.map(
  (n): Told => ({
    key: `placed-${n}`,
    time: minute(0),
    drain: `d${n}`,
    says: { kind: 'placed', site: 'pleural-left', tubes: ['A'], population: 'adult' },
  }),
);
const entryOf = (n: number, key: string, says: Says) =>
  incoming({ key, time: minute(1), drain: `d${n}`, says }, placements[n] as Told);
/** Read, linked to a patient, read, the link withdrawn, and so on. */
function nthOf(n: number, drain: number) {
  const key = (of: number) => `${drain}-${of}`;
  if (n % 4 === 1) return entryOf(drain, key(n), { kind: 'drain-updated', patient: patientOf(n) });
  if (n % 4 !== 3) return entryOf(drain, key(n), { kind: 'reading', level_ml: dec(n) });
  const voids: Told = { key: key(n), time: minute(1), drain: `d${drain}`, voids: key(n - 2) };
  return incoming(voids, placements[drain] as Told);
}
const place0 = (told: Told) => incoming(told, told);

/** What a second connection knows of a drain. */
function committedOf(drain: string) {
  const { db } = ledger;
  const one = (sql: string) => db.prepare<[string], unknown>(sql).pluck().get(drain);
  return {
    head: one('SELECT max(seq) FROM ledger WHERE stream = ?'),
    patient: JSON.parse(
      String(one('SELECT patient FROM drain_patient WHERE drain = ? ORDER BY log_index DESC LIMIT 1')),
    ),
    footing: createFooting(db)(drain),
  };
}

test('books, footing, link and entries are those that are committed, in whichever turn they are read', async () => {
  const { record, store, db } = ledger;
  const placed = (await Promise.all(placements.map((told) => record([place0(told)])))).flat();
  expect(placed.map(({ kind }) => kind)).toEqual(['recorded', 'recorded', 'recorded']);
  const drains = DRAINS.map((n) => entryOf(n, 'x', { kind: 'reading' }).drain);
  const listened: number[] = [];
  store.listen(({ drain, seq }) => {
    // Whoever hears of an entry finds it, and finds it committed.
    expect(store.books(drain).get(drain)?.head).toBe(committedOf(drain).head);
    listened.push(seq);
  });

  const written = Array.from({ length: 60 }, (_, k) => record([nthOf(Math.floor(k / 3), k % 3)]));
  let isOver = false;
  const all = Promise.all(written).finally(() => {
    isOver = true;
  });
  const newest = db.prepare<[], number>('SELECT max(log_index) FROM ledger').pluck();
  const [before, moments, linked] = [newest.get() ?? 0, new Set<number>(), new Set<string>()];
  for (let turn = 0; !isOver; turn += 1) {
    const drain = drains[turn % 3] as string;
    // In other orders, as each may be the one that ends the group.
    const read = {
      head: () => store.books(drain).get(drain)?.head,
      patient: () => store.patientOf(drain),
      footing: () => store.footing(drain),
    };
    const names = (['head', 'patient', 'footing'] as const).map((_, n, of) => of[(turn + n) % 3] ?? 'head');
    for (const name of names) expect([name, read[name]()]).toEqual([name, committedOf(drain)[name]]);
    expect(store.entries(drain, 0, 1000).length).toBe(committedOf(drain).head);
    expect(store.durablePatientOf(drain)).toEqual(committedOf(drain).patient);
    linked.add(store.durablePatientOf(drain)?.reference ?? 'nobody');
    moments.add(newest.get() ?? 0);
    await nextTurn();
  }
  expect((await all).flat().filter(({ kind }) => kind !== 'recorded')).toEqual([]);
  expect(listened).toHaveLength(60);
  // It was looked at in the middle, and more than once.
  expect([...moments].filter((each) => each > before && each < before + 60).length).toBeGreaterThan(3);
  expect(linked.size).toBeGreaterThan(2);
});

/** Readings of a drain of which none is committed yet: a machine that stands still ends their group by its time. */
async function underWay(drain: string) {
  for (let attempt = 0; attempt < 20; attempt += 1) {
    const before = committedOf(drain).head;
    const written = Array.from({ length: 30 }, (_, k) =>
      ledger.record([entryOf(0, `reading-${attempt}-${k}`, { kind: 'reading', level_ml: dec(k) })]),
    );
    await nextTurn();
    if (committedOf(drain).head === before) return { before, written };
    await Promise.all(written);
  }
  throw new Error('each of twenty groups was committed in its first turn');
}

test('what is committed while a group is under way can be read without ending it', async () => {
  const { record, store } = ledger;
  const [told] = placements as [Told];
  await record([place0(told)]);
  const { drain } = entryOf(0, 'x', { kind: 'reading' });
  const { before, written } = await underWay(drain);
  expect(store.durablePatientOf(drain)).toBeNull();
  expect(store.versions('Observation', drain, 'level.x', 'level.x')).toEqual([]);
  expect(committedOf(drain).head).toBe(before);
  store.books(drain);
  expect(Number(committedOf(drain).head)).toBeGreaterThan(Number(before));
  await Promise.all(written);
});
