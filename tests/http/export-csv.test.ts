/**
 * All of a drain as CSV, over HTTP. Read back by csv-parse 7 (MIT), which shares no code with the writer and reads the
 * corpus of csv-spectrum right (tests/intake/csv.test.ts); the volumes are worked out by hand beside each.
 */
import { request } from 'node:http';
import { parse } from 'csv-parse/sync';
import fc from 'fast-check';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { cellText, lineText } from '../../src/record/csv/cell-text.ts';
import { assigned, byDevice, reassigned, registerMonitor } from './device-ward.ts';
import {
  at,
  content,
  corrected,
  level,
  placeDrain,
  setUp,
  type TestDrain,
  tell,
  voided,
} from './messages.ts';
import { startTestService, type TestService } from './service.ts';

let service: TestService;
let drain: TestDrain;
beforeAll(async () => {
  service = await startTestService();
  drain = await placeDrain(service, 'csv', '08:00', { patient: { reference: 'Patient/csv' } });
  await tell(
    drain,
    setUp('up', '08:00', 0),
    level('a', '09:00', 120, { note: '=HYPERLINK("x")', effective_at: '2025-03-01T10:00:00+01:00' }),
    level('b', '10:00', 150),
    level('c', '11:00', 200),
    level('wrong', '11:30', 900),
    // Charted last, and of the second reading.
    corrected('b2', 'b', content(level('', '10:00', 160))),
    corrected('b3', 'b2', content(level('', '10:00', 170))),
    voided('gone', 'wrong'),
  );
});
afterAll(() => service.stop());

type CsvRecord = Readonly<Record<string, string>>;
const parsed = (text: string): CsvRecord[] => parse(text, { columns: true, relax_column_count: false });

async function exported(of: TestDrain, query = ''): Promise<CsvRecord[]> {
  const { status, headers, text } = await service.send('GET', `/v1/drains/${of.drain}/export.csv${query}`);
  expect([status, headers.get('content-type')]).toEqual([200, 'text/csv; charset=utf-8; header=present']);
  return parsed(text);
}
const entriesIn = (records: readonly CsvRecord[]) => records.filter(({ record }) => record === 'entry');
const valueIn = (records: readonly CsvRecord[], key: string, quantity: string) => {
  const entry = entriesIn(records).find(({ identifier_value }) => identifier_value === key)?.entry;
  return records.find(
    (each) => each.entry === entry && each.quantity === quantity && each.record === 'derived',
  );
};

describe('a drain with a late correction of a correction, and a withdrawal', () => {
  test('each entry is a record with what became of it, in the order of the log', async () => {
    const entries = entriesIn(await exported(drain));
    const keyOf = new Map(entries.map(({ entry, identifier_value }) => [entry, identifier_value]));
    expect(
      entries.map((each) => [each.identifier_value, each.status, keyOf.get(each.changed_by ?? '') ?? '']),
    ).toEqual([
      ['csv', 'charted', ''],
      ['up', 'charted', ''],
      ['a', 'charted', ''],
      ['b', 'corrected', 'b2'],
      ['c', 'charted', ''],
      ['wrong', 'withdrawn', 'gone'],
      ['b2', 'superseded', 'b3'],
      ['b3', 'correction', ''],
      ['gone', 'withdrawal', ''],
    ]);
    expect(entries[6]).toMatchObject({ target_value: 'b', reason: 'misread', value: '160', unit: 'mL' });
    expect(entries[2]).toMatchObject({
      effective_at: '2025-03-01T10:00:00+01:00',
      recorded_at: expect.stringMatching(/^\d{4}-.*Z$/),
      author: 'Practitioner/n1',
      // Guarded: a spreadsheet shows it.
      note: `'=HYPERLINK("x")`,
    });
  });

  test('what follows stands under the first entry of each chain, as it is after the corrections', async () => {
    const records = await exported(drain);
    // 120 - 0 in the first hour, read to marks of 5 mL: U = 2 * sqrt(2) * 5/sqrt(12) = 4.1 (JCGM 100:2008, 4.3.7).
    expect(valueIn(records, 'a', 'interval_net')).toMatchObject({
      value: '120',
      unit: 'mL',
      uncertainty_k2: '4.1',
      at_least: 'false',
    });
    // 170 - 120, and 200 - 170.
    expect(valueIn(records, 'b', 'interval_net')?.value).toBe('50');
    expect(valueIn(records, 'b', 'interval_rate')).toMatchObject({ value: '50', unit: 'mL/h' });
    expect(valueIn(records, 'c', 'interval_net')?.value).toBe('30');
    expect(valueIn(records, 'c', 'cumulative_net')?.value).toBe('200');
    for (const key of ['b2', 'b3', 'wrong', 'gone'])
      expect(valueIn(records, key, 'interval_net'), key).toBeUndefined();
    // Nobody weighed the patient: no number, and why.
    expect(valueIn(records, 'a', 'interval_rate_per_kg')).toMatchObject({
      value: '',
      absent_reason: 'no-weight',
    });
  });

  test('each derived record has a value, or bounds or a reason', async () => {
    const derived = (await exported(drain)).filter(({ record }) => record === 'derived');
    expect(derived.length).toBeGreaterThan(30);
    for (const each of derived) {
      expect(each.unit).not.toBe('');
      expect(each.value !== '' || each.absent_reason !== '', JSON.stringify(each)).toBe(true);
    }
  });

  test('every record leads to the entry of the ledger and its proof', async () => {
    const records = await exported(drain);
    const { entries } = JSON.parse(await drain.ledger());
    expect(entriesIn(records).map(({ log_index, hash, entry }) => [Number(log_index), hash, entry])).toEqual(
      entries.map((each: { log_index: number; hash: string; entry: string }) => [
        each.log_index,
        each.hash,
        each.entry,
      ]),
    );
    expect(entriesIn(records).map(({ body }) => JSON.parse(body ?? ''))).toEqual(
      entries.map(({ body }: { body: object }) => body),
    );
    for (const { log_index, hash, record, entry } of records)
      if (record === 'derived')
        expect(entriesIn(records)).toContainEqual(expect.objectContaining({ log_index, hash, entry }));
  });

  test('a time keeps a chain whole: its corrections and its withdrawal come with it', async () => {
    const keysOf = async (from: string, to: string) =>
      entriesIn(await exported(drain, `?from=${at(from)}&to=${at(to)}`)).map((each) => each.identifier_value);
    expect(await keysOf('10:00', '11:00')).toEqual(['b', 'b2', 'b3']);
    expect(await keysOf('11:30', '12:00')).toEqual(['wrong', 'gone']);
    expect(await keysOf('12:00', '13:00')).toEqual([]);
  });
});

test('a reading moved to another drain says where it counts, and counts there', async () => {
  const from = await placeDrain(service, 'from', '08:00', { patient: { reference: 'Patient/from' } });
  const to = await placeDrain(service, 'to', '08:00', { patient: { reference: 'Patient/to' } });
  await tell(from, setUp('from-up', '08:00', 0));
  await tell(to, setUp('to-up', '08:00', 0));
  const monitor = await registerMonitor(service);
  await monitor.assign(assigned('as', from.drain, '08:00'));
  expect((await monitor.post(byDevice('moved', '09:00', 80))).status).toBe(201);
  expect((await monitor.assign(reassigned('re', 'as', to.drain, '08:00'))).status).toBe(201);
  const [left, entered] = [await exported(from), await exported(to)];
  const own = (records: readonly CsvRecord[]) =>
    entriesIn(records).find(({ identifier_value }) => identifier_value === 'moved');
  expect(own(left)).toMatchObject({ status: 'elsewhere', counts_for: to.drain });
  expect(own(entered)).toMatchObject({ status: 'charted', counts_for: to.drain, hash: own(left)?.hash });
  expect(valueIn(left, 'moved', 'interval_net')).toBeUndefined();
  expect(valueIn(entered, 'moved', 'interval_net')?.value).toBe('80');
  expect(entriesIn(left).at(-1)).toMatchObject({ status: 'rerouting', kind: 'rerouted' });
});

test.each([
  ['from=2025-03-01', '?from'],
  ['from=2025-03-01T09:00:00Z&to=2025-03-01T09:00:00Z', '?from'],
  ['format=csv', '?format'],
])('%s is refused, naming the parameter', async (query, pointer) => {
  const { status, text } = await service.send('GET', `/v1/drains/${drain.drain}/export.csv?${query}`);
  expect([status, JSON.parse(text).errors[0].pointer]).toEqual([400, pointer]);
});

test('an unknown drain is said to be one', async () => {
  expect((await service.send('GET', '/v1/drains/none/export.csv')).status).toBe(404);
});

test('a client that hangs up, and entries charted meanwhile, change nothing for others', async () => {
  const long = await placeDrain(service, 'long', '00:00', { patient: { reference: 'Patient/long' } });
  await tell(long, setUp('long-up', '00:00', 0));
  for (let n = 1; n <= 120; n += 1) {
    const time = `${String(Math.floor(n / 10)).padStart(2, '0')}:${String((n % 10) * 6).padStart(2, '0')}`;
    await tell(long, level(`long-${n}`, time, n * 10));
  }
  const path = `${service.url}/v1/drains/${long.drain}/export.csv`;
  await new Promise<void>((resolve, reject) => {
    const asked = request(path, (answer) => {
      answer.once('data', () => {
        answer.destroy();
        resolve();
      });
    });
    asked.on('error', reject).end();
  });
  const slow = await fetch(path);
  await tell(long, voided('long-gone', 'long-120'));
  const then = entriesIn(parsed(await slow.text()));
  // The placement, the set-up and the readings; not what came after the question.
  expect([then.length, then.at(-1)?.status]).toEqual([122, 'charted']);
  expect(
    entriesIn(await exported(long))
      .slice(-2)
      .map(({ status }) => status),
  ).toEqual(['withdrawn', 'withdrawal']);
});

describe('cells', () => {
  /** How a reader undoes the guard, as the documentation says it. */
  const unguarded = (cell: string) => (cell.startsWith("'") ? cell.slice(1) : cell);

  test('any text comes back from a reader that we did not write, the guard taken off', () => {
    const cell = fc.oneof(
      fc.string({ unit: 'binary' }).map((text) => text.toWellFormed()),
      fc.string({ unit: fc.constantFrom('=', '+', '-', '@', "'", '"', ',', '\t', '\r', '\n', 'a', ' ') }),
    );
    fc.assert(
      fc.property(fc.array(fc.array(cell, { minLength: 2, maxLength: 2 }), { minLength: 1 }), (lines) => {
        const text = lines.map(lineText).join('');
        const read: string[][] = parse(text, { record_delimiter: '\r\n', skip_empty_lines: false });
        expect(read.map((line) => line.map(unguarded))).toEqual(lines);
        // OWASP, CSV Injection: none of these may begin a cell.
        for (const each of read.flat()) expect(each).not.toMatch(/^[=+\-@\t\r\n]/);
      }),
    );
  });

  test('text that begins with an apostrophe and text that was guarded stay apart', () => {
    expect([cellText("'=1"), cellText('=1')]).toEqual(["''=1", "'=1"]);
  });
});
