import { describe, expect, it } from 'vitest';
import { entryHash, frameName, genesis, issuedCommitment, payloadCommitment } from '../../src/audit/chain.ts';
import { rowsFrom } from '../../src/domain/fold/chart.ts';
import { epochMs } from '../../src/domain/numbers/units.ts';
import { fill } from '../../src/json/frame.ts';
import { StoreBusy, StoreFailed } from '../../src/store/port.ts';
import { instilled, level, placed, setUp, type Told, voided, weighed } from '../support/drain-script.ts';
import { written } from '../support/written.ts';
import { incoming, ledgerForEach, rowsOf } from './ledger.ts';

const PLACED = placed('08:00', { patient: { reference: 'Patient/p' } });
const STORY: readonly Told[] = [
  PLACED,
  setUp('08:00', 0),
  level('a', '09:00', 60),
  instilled('in', '09:30', 20),
  level('b', '10:00', 130),
  { ...level('a-fixed', '10:30', 70), corrects: 'a', to: '09:00' } as Told,
];
const TABLES = ['ledger', 'payload', 'issued', 'identity', 'frame', 'reissue', 'lane', 'drain'] as const;

const ledger = ledgerForEach();

async function tell(story: readonly Told[], placement = PLACED): Promise<void> {
  for (const told of story) {
    const [outcome] = await ledger.record([incoming(told, placement)]);
    expect(outcome?.kind).toBe('recorded');
  }
}
const counts = () => TABLES.map((table) => ledger.db.prepare(`SELECT count(*) FROM ${table}`).pluck().get());

/** The chart of the drain, as values: members of what was sent come back in canonical order. */
function rows(placement = PLACED): unknown[] {
  const name = incoming(placement, placement).drain;
  const book = ledger.store.books(name).get(name);
  if (book === undefined) throw new Error('the drain is gone');
  return JSON.parse(written(rowsFrom(book.chart, epochMs(-Infinity)))) as unknown[];
}

/** Each entry of the drain after the one that it names, none left out. */
function expectChained(): void {
  const stored = rowsOf(ledger.db);
  let before = genesis('store.example', incoming(PLACED, PLACED).drain);
  for (const [i, { envelope, hash }] of stored.entries()) {
    expect(JSON.parse(envelope)).toMatchObject({ seq: i + 1, prev: before });
    before = hash;
  }
}

describe('the ledger', () => {
  it('is made of strict tables whose rows can be neither changed nor deleted', async () => {
    await tell(STORY);
    await ledger.store.noteServed(['ehr'], 1000);
    const tables = ledger.db.pragma('table_list') as { name: string; strict: number; schema: string }[];
    const ours = tables.filter(({ name, schema }) => schema === 'main' && !name.startsWith('sqlite_'));
    expect(ours.length).toBeGreaterThan(8);
    expect(ours.filter(({ strict }) => strict !== 1)).toEqual([]);
    for (const table of ['ledger', 'payload', 'issued', 'identity', 'frame', 'reissue', 'delivery_event']) {
      const [column] = ledger.db.pragma(`table_info(${table})`) as { name: string }[];
      expect(() => ledger.db.exec(`DELETE FROM ${table}`)).toThrow('append-only');
      expect(() => ledger.db.exec(`UPDATE ${table} SET ${column?.name} = ${column?.name}`)).toThrow(
        'append-only',
      );
    }
  });

  it('chains each drain: every hash can be worked out again from the stored bytes', async () => {
    await tell(STORY);
    const stored = rowsOf(ledger.db);
    expect(stored).toHaveLength(STORY.length);
    let before = genesis('store.example', stored[0]?.stream ?? '');
    for (const [i, row] of stored.entries()) {
      const envelope = JSON.parse(row.envelope) as Record<string, unknown>;
      const issued = ledger.db
        .prepare<[number], string>('SELECT resources FROM issued WHERE log_index = ?')
        .pluck();
      expect(envelope).toMatchObject({
        v: 1,
        origin: 'store.example',
        seq: i + 1,
        stream: row.stream,
        prev: before,
      });
      expect(envelope.payload).toBe(payloadCommitment(row.salt, row.body));
      expect(envelope.issued).toBe(issuedCommitment(row.salt, issued.all(row.log_index)));
      expect(row.hash).toBe(entryHash(row.envelope));
      before = row.hash;
    }
    const frames = ledger.db
      .prepare<[], { name: string; text: string }>('SELECT name, text FROM frame')
      .all();
    expect(frames.every(({ name, text }) => frameName(text) === name)).toBe(true);
  });

  it('says the same when it is opened again', async () => {
    await tell(STORY);
    const before = rows();
    await ledger.reopen();
    expect(rows()).toEqual(before);
  });

  it('records times that never run backwards, though the clock may', async () => {
    const clock = [2_000_000_000_000, 1_000_000_000_000, 2_000_000_000_001];
    await ledger.reopen({ now: () => clock.shift() ?? 0 });
    await tell(STORY.slice(0, 3));
    const recorded = ledger.store
      .entries(incoming(PLACED, PLACED).drain, 0, 9)
      .map((entry) => entry.recordedAt);
    expect(recorded).toEqual([
      '2033-05-18T03:33:20.000Z',
      '2033-05-18T03:33:20.000Z',
      '2033-05-18T03:33:20.001Z',
    ]);
  });

  it('records nothing earlier than what it holds when it is opened again with the clock stepped back', async () => {
    await ledger.reopen({ now: () => 2_000_000_000_000 });
    await tell(STORY.slice(0, 2));
    await ledger.reopen({ now: () => 1_000_000_000_000 });
    await tell(STORY.slice(2, 3));
    const recorded = ledger.store
      .entries(incoming(PLACED, PLACED).drain, 0, 9)
      .map((entry) => entry.recordedAt);
    expect(recorded).toEqual(Array(3).fill('2033-05-18T03:33:20.000Z'));
  });
});

describe('nothing is half written', () => {
  it.each(TABLES)('when writing %s fails: all or nothing, and the next try succeeds', async (table) => {
    if (table !== 'drain') await tell(STORY.slice(0, 5));
    // The correction re-issues, so it writes to every table but drain, which the placement writes.
    const last = table === 'drain' ? PLACED : (STORY[5] as Told);
    if (table === 'lane') {
      // A lane is only written to where nothing is under way in it; that is kept in memory.
      ledger.db.exec("UPDATE lane SET state = 'idle'");
      await ledger.reopen();
    }
    ledger.db.exec(
      `CREATE TRIGGER obstacle BEFORE INSERT ON ${table} BEGIN SELECT RAISE(ABORT, 'in the way'); END`,
    );
    const before = counts();
    await expect(ledger.record([incoming(last, PLACED)])).rejects.toThrow(StoreFailed);
    expect(counts()).toEqual(before);
    ledger.db.exec('DROP TRIGGER obstacle');
    await tell([last]);
    expectChained();
  });

  it('a unit that is taken back leaves no gap behind it', async () => {
    await tell(STORY.slice(0, 3));
    const unit = [level('a2', '09:10', 61), voided('v', 'unheard-of')];
    const outcomes = await ledger.record(unit.map((told) => incoming(told, PLACED)));
    expect(outcomes.map(({ kind }) => kind)).toEqual(['recorded', 'refused']);
    await tell(STORY.slice(3));
    expect(rowsOf(ledger.db)).toHaveLength(STORY.length);
    expectChained();
  });

  it('a bad entry in a group fails alone', async () => {
    await tell(STORY.slice(0, 2));
    const good = Array.from({ length: 20 }, (_, i) => level(`n${i}`, `09:${String(i + 10)}`, 10 + i));
    const first = good.slice(0, 10).map((told) => ledger.record([incoming(told, PLACED)]));
    const bad = ledger.store.append([
      {
        entryId: 'bad',
        identifier: { system: 's', value: 'bad' },
        isAnswer: () => false,
        requestHash: 'x',
        drain: incoming(PLACED, PLACED).drain,
        linksPatient: null,
        decide() {
          throw new Error('not decidable');
        },
      },
    ]);
    const last = good.slice(10).map((told) => ledger.record([incoming(told, PLACED)]));
    await expect(bad).rejects.toThrow('not decidable');
    for (const outcome of await Promise.all([...first, ...last])) expect(outcome[0]?.kind).toBe('recorded');
    expect(ledger.store.entries(incoming(PLACED, PLACED).drain, 0, 99)).toHaveLength(22);
    const indexes = ledger.db.prepare('SELECT log_index FROM ledger ORDER BY log_index').pluck().all();
    expect(indexes).toEqual(indexes.map((_, i) => i));
    expectChained();
    // What the group had changed in memory before it was taken back must be gone as well.
    const inMemory = rows();
    await ledger.reopen();
    expect(inMemory).toEqual(rows());
  });

  it('takes no more than its queue holds, and says when to come back', async () => {
    await ledger.reopen({ mostQueued: 3 });
    const all = STORY.map((told) => ledger.record([incoming(told, PLACED)]).catch((error: unknown) => error));
    const answers = await Promise.all(all);
    expect(answers.filter((answer) => answer instanceof StoreBusy)).toHaveLength(3);
    expect(ledger.store.entries(incoming(PLACED, PLACED).drain, 0, 99)).toHaveLength(3);
  });
});

describe('drains of one patient', () => {
  const second: Told = { ...placed('08:00', { patient: { reference: 'Patient/p' } }), key: 'placed-2' };
  const third: Told = { ...placed('08:00'), key: 'placed-3' };

  it('share their weights, in the write that brings one', async () => {
    await tell([PLACED, setUp('07:59', 0)]);
    await tell(
      [second, { ...setUp('08:00', 0), key: 'set-up-2' }, { ...level('x', '09:00', 60), key: 'x' }],
      second,
    );
    await tell([weighed('w', '08:00', 60)]);
    const name = incoming(second, second).drain;
    const book = ledger.store.books(name).get(name);
    const rate =
      book === undefined ? undefined : rowsFrom(book.chart, epochMs(-Infinity)).at(-1)?.volumes?.rate;
    expect(rate).toMatchObject({ per_kg: { weight: { weight: 60_000 } } });
  });

  it('are found again when undoing a link brings an older one back', async () => {
    await tell([PLACED, weighed('w', '08:00', 60)]);
    await tell([third, { ...setUp('08:00', 0), key: 'set-up-3' }, level('x', '09:00', 60)], third);
    const link = (key: string, time: string): Told => ({
      key,
      time,
      says: { kind: 'drain-updated', patient: { reference: 'Patient/p' } },
    });
    await tell([link('link', '09:30'), link('again', '09:40'), voided('undo', 'again')], third);
    await ledger.reopen();
    const found = rows(third) as { volumes: { rate: { per_kg: object } } | null }[];
    const rate = found.find(({ volumes }) => volumes !== null)?.volumes?.rate;
    expect(rate?.per_kg).toMatchObject({ weight: { weight: 60_000 } });
  });
});

describe('delivery', () => {
  const NOW = 1_000;
  const DELIVERED = { state: 'delivered', outcome: null, taken: [] } as const;

  it('gives out the first of each drain only, in order, and again when a claim lapses', async () => {
    await tell(STORY);
    const [first, ...rest] = await ledger.store.claim('ehr', NOW, NOW + 500, 9, []);
    expect(rest).toEqual([]);
    expect(first?.attempts).toBe(1);
    expect(first?.issued.map(fill)).toEqual([
      expect.stringContaining('{"resourceType":"Device"'),
      expect.stringContaining('"opening-level.'),
      expect.stringContaining('{"resourceType":"Provenance"'),
    ]);
    expect(await ledger.store.claim('ehr', NOW + 499, NOW + 999, 9, [])).toEqual([]);
    const { drain } = first ?? { drain: '' };
    expect(await ledger.store.claim('ehr', NOW + 500, NOW + 999, 9, [drain])).toEqual([]);
    const [again] = await ledger.store.claim('ehr', NOW + 500, NOW + 999, 9, []);
    expect(again).toMatchObject({ attempts: 2, logIndex: first?.logIndex });
    if (first === undefined || again === undefined) throw new Error('nothing was claimed');
    // The one whose claim lapsed comes back late: it is not its any more.
    await ledger.store.settle([{ delivery: first, settlement: DELIVERED }], NOW);
    expect(ledger.store.deliveryCounts()).toEqual([{ target: 'ehr', state: 'sending', count: 1 }]);
    await ledger.store.settle([{ delivery: again, settlement: DELIVERED }], NOW);
    const [next] = await ledger.store.claim('ehr', NOW, NOW + 500, 9, []);
    expect(next?.logIndex).toBeGreaterThan(first.logIndex);
  });

  it('waits as long as it is told, buries what is refused, and goes idle at the end', async () => {
    await tell(STORY.slice(0, 3));
    const [first] = await ledger.store.claim('ehr', NOW, NOW + 500, 9, []);
    if (first === undefined) throw new Error('nothing was claimed');
    const waits = { state: 'waiting', dueMs: NOW + 100, outcome: { why: 'HTTP 503' }, taken: [] } as const;
    await ledger.store.settle([{ delivery: first, settlement: waits }], NOW);
    expect(await ledger.store.claim('ehr', NOW + 99, NOW + 500, 9, [])).toEqual([]);
    const [again] = await ledger.store.claim('ehr', NOW + 100, NOW + 500, 9, []);
    if (again === undefined) throw new Error('nothing was claimed');
    const dead = { state: 'dead', outcome: { why: 'HTTP 422' }, taken: [] } as const;
    await ledger.store.settle([{ delivery: again, settlement: dead }], NOW);
    const [second] = await ledger.store.claim('ehr', NOW, NOW + 500, 9, []);
    if (second === undefined) throw new Error('nothing was claimed');
    await ledger.store.settle([{ delivery: second, settlement: DELIVERED }], NOW);
    expect(ledger.store.deliveryCounts()).toEqual([
      { target: 'ehr', state: 'idle', count: 1 },
      { target: 'ehr', state: 'dead', count: 1 },
    ]);
    await tell(STORY.slice(3, 5));
    expect(await ledger.store.claim('ehr', NOW, NOW + 500, 9, [])).toHaveLength(1);
  });

  it('holds back a drain without a patient, and sends all of it once one is linked', async () => {
    const unlinked = placed('08:00');
    await tell([unlinked, setUp('08:00', 0), level('a', '09:00', 60)], unlinked);
    expect(await ledger.store.claim('ehr', NOW, NOW + 500, 9, [])).toEqual([]);
    await tell(
      [{ key: 'link', time: '09:30', says: { kind: 'drain-updated', patient: { reference: 'Patient/p' } } }],
      unlinked,
    );
    const [claimed] = await ledger.store.claim('ehr', NOW, NOW + 500, 9, []);
    expect(claimed?.issued.length).toBeGreaterThan(5);
    expect(claimed?.issued.every((each) => fill(each).includes('{"reference":"Patient/p"}'))).toBe(true);
  });

  it('makes way for an entry that is asked for after it, to be claimed and to be settled', async () => {
    await tell(STORY.slice(0, 3));
    const order: string[] = [];
    const first = ledger.store.claim('ehr', NOW, NOW + 500, 9, []);
    const recorded = tell(STORY.slice(3, 4)).then(() => order.push('recorded'));
    await Promise.all([first.then(() => order.push('claimed')), recorded]);
    const [delivery] = await first;
    if (delivery === undefined) throw new Error('nothing was claimed');
    const settled = ledger.store.settle([{ delivery, settlement: DELIVERED }], NOW);
    const again = tell(STORY.slice(4, 5)).then(() => order.push('recorded'));
    await Promise.all([settled.then(() => order.push('settled')), again]);
    expect(order).toEqual(['recorded', 'claimed', 'recorded', 'settled']);
  });

  it('costs an entry nothing while its lanes are busy, whatever the number of targets', async () => {
    const targets = Array.from({ length: 20 }, (_, n) => `target-${n}`);
    await ledger.reopen({ targets });
    await tell(STORY.slice(0, 2));
    expect(ledger.store.deliveryCounts().filter(({ state }) => state === 'waiting')).toHaveLength(20);
    ledger.db.exec(
      `CREATE TRIGGER untouched BEFORE INSERT ON lane BEGIN SELECT RAISE(ABORT, 'touched'); END;
       CREATE TRIGGER unchanged BEFORE UPDATE ON lane BEGIN SELECT RAISE(ABORT, 'changed'); END`,
    );
    await tell(STORY.slice(2, 5));
    expect(ledger.store.backlog('target-7')).toMatchObject({ depth: 4 });
    ledger.db.exec('DROP TRIGGER untouched; DROP TRIGGER unchanged');
  });

  it('tells when targets begin to be served and cease to be', async () => {
    const kinds = () => ledger.store.deliveryEvents({}, 0, 99).map(({ target, kind }) => `${target} ${kind}`);
    for (const targets of [['ehr'], ['ehr'], ['other'], ['ehr', 'other']]) {
      await ledger.reopen({ targets });
      await ledger.store.noteServed(targets, NOW);
    }
    expect(kinds()).toEqual(['ehr started', 'other started', 'ehr left', 'ehr started']);
  });

  const BY = { author: { type: 'person', reference: 'Practitioner/n1' }, reason: 'x', client: 'c' } as const;

  /** Claims and settles until nothing is due; what was sent, by place in the ledger. */
  async function sendAll(now: number): Promise<string[]> {
    const sent: string[] = [];
    for (;;) {
      const [next] = await ledger.store.claim('ehr', now, now + 500, 1, []);
      if (next === undefined) return sent;
      sent.push(`${next.logIndex}${next.redo === null ? '' : ` ${next.redo}`}`);
      await ledger.store.settle([{ delivery: next, settlement: DELIVERED }], now);
    }
  }

  it('takes what is asked for again before what comes next, and goes on where it was', async () => {
    await tell(STORY.slice(0, 3));
    const [first] = await ledger.store.claim('ehr', NOW, NOW + 500, 1, []);
    if (first === undefined) throw new Error('nothing was claimed');
    await ledger.store.settle(
      [{ delivery: first, settlement: { state: 'dead', outcome: { why: 'HTTP 422' }, taken: [] } }],
      NOW,
    );
    expect(await ledger.store.requeue({ target: 'ehr' }, BY, NOW)).toBe(1);
    await tell(STORY.slice(3, 5));
    // Entries of deliveries stand between: of the claim, the settlement and the order.
    expect(await sendAll(NOW)).toEqual(['2', '1 requeue', '6', '7']);
    expect(ledger.store.deliveryCounts()).toEqual([{ target: 'ehr', state: 'idle', count: 1 }]);
    expect(await ledger.store.requeue({ target: 'ehr' }, BY, NOW)).toBe(0);
  });

  it('replays what was recorded in a period, then goes on; also to a target that never had it', async () => {
    let now = 2_000_000_000_000;
    const clock = () => {
      now += 1000;
      return now;
    };
    await ledger.reopen({ targets: [], now: clock });
    await tell(STORY.slice(0, 5));
    const [, , third] = ledger.store.entries(incoming(PLACED, PLACED).drain, 0, 9);
    await ledger.reopen({ now: clock });
    const from = Date.parse(third?.recordedAt ?? '');
    const period = { fromMs: from, toMs: from + 2000 };
    expect(await ledger.store.replay('ehr', null, period, BY, NOW)).toBe(1);
    expect(await sendAll(NOW)).toEqual(['2 replay', '3 replay']);
    await tell(STORY.slice(5));
    // Between them: the order, and two claims and settlements.
    expect(await sendAll(NOW)).toEqual(['10']);
  });

  it('keeps waiting where a skipped delivery may still be acted on', async () => {
    await tell(STORY.slice(0, 3));
    const [first] = await ledger.store.claim('ehr', NOW, NOW + 500, 1, []);
    if (first === undefined) throw new Error('nothing was claimed');
    expect(await ledger.store.skip(first, BY, NOW)).toBe(false);
    const unknown = { state: 'unknown', dueMs: NOW + 300, outcome: { why: 'reset' }, taken: [] } as const;
    await ledger.store.settle([{ delivery: first, settlement: unknown }], NOW);
    expect(await ledger.store.skip(first, BY, NOW)).toBe(true);
    expect(await ledger.store.claim('ehr', NOW + 299, NOW + 999, 1, [])).toEqual([]);
    expect(await ledger.store.claim('ehr', NOW + 300, NOW + 999, 1, [])).toMatchObject([
      { uncertain: false },
    ]);
  });

  it('makes waits good that another clock began', async () => {
    await tell(STORY.slice(0, 3));
    const far = NOW + 9_000_000;
    const [first] = await ledger.store.claim('ehr', NOW, NOW + 500, 1, []);
    if (first === undefined) throw new Error('nothing was claimed');
    await ledger.store.settle(
      [{ delivery: first, settlement: { state: 'waiting', dueMs: far, outcome: { why: 'x' }, taken: [] } }],
      NOW,
    );
    await ledger.store.rebaseWaits('ehr', NOW + 100, NOW + 200);
    expect(await ledger.store.claim('ehr', NOW + 199, NOW + 300, 1, [])).toEqual([]);
    expect(await ledger.store.claim('ehr', NOW + 200, NOW + 300, 1, [])).toHaveLength(1);
    // Under way when the process was killed: as long as a request may still be acted on, whatever the clock says.
    await ledger.store.rebaseWaits('ehr', NOW + 1000, NOW + 5000);
    expect(await ledger.store.claim('ehr', NOW + 999, NOW + 9999, 1, [])).toEqual([]);
    expect(await ledger.store.claim('ehr', NOW + 1000, NOW + 9999, 1, [])).toMatchObject([
      { uncertain: true },
    ]);
  });
});
