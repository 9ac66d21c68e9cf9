/**
 * CSV read by a mapping. Outside checks: the corpus of edge cases csv-spectrum 2.0.0 (BSD-2-Clause), whose JSON says what
 * each file holds; clock changes of Europe/Berlin by the IANA time zone database (2026-03-29 02:00 and 2026-10-25 03:00).
 */
import { readdirSync, readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { dirname, join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { defaultProfiles } from '../../src/configuration/profiles.ts';
import { csvMapping } from '../../src/intake/csv/mapping.ts';
import { momentText } from '../../src/intake/csv/moment.ts';
import { csvRows } from '../../src/intake/csv/read-rows.ts';
import { type CsvRow, itemsOf } from '../../src/intake/csv/rows.ts';
import { readItem } from '../../src/intake/native/read-batch.ts';
import { writeExact } from '../../src/json/exact-write.ts';

const CORPUS = dirname(createRequire(import.meta.url).resolve('csv-spectrum'));
const NAMES = readdirSync(join(CORPUS, 'csvs')).map((name) => name.replace('.csv', ''));

async function rowsOf(text: Buffer | string, delimiter = ','): Promise<readonly CsvRow[]> {
  const source = (async function* () {
    // Byte by byte: no edge case may hide behind a cut.
    for (const byte of Buffer.from(text as string)) yield Buffer.from([byte]);
  })();
  const rows: CsvRow[] = [];
  for await (const { row } of csvRows(source, delimiter, () => undefined)) rows.push(row);
  return rows;
}

/** A bare quote in a field without quotes, in bytes that are no UTF-8: no CSV by RFC 4180, and a value could hide in it. */
const NO_CSV = 'location_coordinates';

test('what is no CSV in the corpus is refused', async () => {
  await expect(rowsOf(readFileSync(join(CORPUS, 'csvs', `${NO_CSV}.csv`)))).rejects.toThrow('line 2');
});

test.each(NAMES.filter((name) => name !== NO_CSV))('%s of the corpus', async (name) => {
  const expected = JSON.parse(readFileSync(join(CORPUS, 'json', `${name}.json`), 'utf8'));
  expect(await rowsOf(readFileSync(join(CORPUS, 'csvs', `${name}.csv`)))).toEqual(expected);
});

test.each(['a,b\n1,2,3\n', 'a,b\n1\n', 'a,b\n"1,2\n', 'a,b\n1"2",3\n'])('%j is no CSV', async (text) => {
  await expect(rowsOf(text)).rejects.toThrow(/line/i);
});

const MAPPING = {
  system: 'urn:example:flowsheet',
  key: ['patient', 'look'],
  drain: { system: 'urn:example:ward', column: 'drain' },
  author: { type: 'person', system: 'urn:example:staff', column: 'by' },
  time: { column: 'at', zone: 'Europe/Berlin' },
  item: 'item',
  value: 'value',
  unit: 'unit',
  items: {
    Level: 'level',
    Column: 'suction-column',
    Bubbles: 'suction-bubbling',
    Swing: 'tidaling',
    Grade: 'air-leak-grade',
    Weight: 'body-weight',
    Clamp: 'clamped',
    Colour: 'fluid-colour',
  },
  values: { tidaling: { yes: 'present', no: 'absent' } },
  units: { cmH2O: 'cm[H2O]' },
};
const HEAD = 'patient,look,drain,by,at,item,value,unit';

async function itemsIn(lines: readonly string[], mapping: object = MAPPING) {
  const source = (async function* () {
    yield Buffer.from([HEAD, ...lines].join('\r\n'));
  })();
  const read = csvMapping.parse(mapping);
  const items = [];
  for await (const item of itemsOf(
    csvRows(source, ',', () => undefined),
    read,
  ))
    items.push(item);
  return items;
}

test('rows of one key are one entry that the native door takes; a row without value says nothing', async () => {
  const items = await itemsIn([
    'p1,1,d1,n1,2026-03-01 08:00,Level,120.0,mL',
    'p1,1,d1,n1,2026-03-01 08:00,Column,20,cmH2O',
    'p1,1,d1,n1,2026-03-01 08:00,Bubbles,gentle,',
    'p1,1,d1,n1,2026-03-01 08:00,Swing,yes,',
    'p1,1,d1,n1,2026-03-01 08:00,Grade,3,',
    'p1,1,d1,n1,2026-03-01 08:00,Clamp,false,',
    'p1,1,d1,n1,2026-03-01 08:00,Colour,"pink, clear",',
    'p1,2,d1,n1,2026-03-01T09:00:00+01:00,Level,,mL',
    'p1,3,d1,n1,2026-03-01T09:00:00+01:00,Weight,70.5,kg',
  ]);
  expect(items.map(({ line }) => line)).toEqual([2, 10]);
  const texts = items.map((each) => ('item' in each ? writeExact(each.item) : ''));
  expect(JSON.parse(texts[0] ?? '')).toEqual({
    drain: { system: 'urn:example:ward', value: 'd1' },
    identifier: { system: 'urn:example:flowsheet', value: 'p1/1' },
    author: { type: 'person', identifier: { system: 'urn:example:staff', value: 'n1' } },
    effective_at: '2026-03-01T08:00:00+01:00',
    kind: 'reading',
    level_ml: { value: 120, unit: 'mL' },
    suction: { column_cmh2o: { value: 20, unit: 'cm[H2O]' }, bubbling: 'gentle' },
    tidaling: 'present',
    air_leak: { grade: 3 },
    clamped: false,
    fluid_colour: 'pink, clear',
  });
  // Digits are kept.
  expect(texts[0]).toContain('"value":120.0');
  for (const each of items)
    expect('item' in each && readItem(each.item, defaultProfiles())).toHaveProperty('unit');
});

describe('what is refused names the column, the value and the mend', () => {
  test.each([
    ['a decimal comma', ['p,1,d,n,2026-03-01 08:00,Level,"12,5",mL'], 'value', /decimal comma/],
    ['words', ['p,1,d,n,2026-03-01 08:00,Level,about 12,mL'], 'value', /no plain number/],
    ['a number without unit', ['p,1,d,n,2026-03-01 08:00,Level,12,'], 'unit', /empty/],
    ['an unknown item', ['p,1,d,n,2026-03-01 08:00,Mood,12,mL'], 'item', /no item of the mapping/],
    [
      'two of one item',
      ['p,1,d,n,2026-03-01 08:00,Level,12,mL', 'p,1,d,n,2026-03-01 08:00,Level,13,mL'],
      'item',
      /twice/,
    ],
    [
      'two kinds',
      ['p,1,d,n,2026-03-01 08:00,Level,12,mL', 'p,1,d,n,2026-03-01 08:00,Weight,70,kg'],
      'item',
      /by itself/,
    ],
    [
      'two drains',
      ['p,1,d,n,2026-03-01 08:00,Level,12,mL', 'p,1,e,n,2026-03-01 08:00,Grade,1,'],
      'drain',
      /differs/,
    ],
    ['an hour that is two', ['p,1,d,n,2026-10-25 02:30,Level,12,mL'], 'at', /twice/],
    ['an hour that is none', ['p,1,d,n,2026-03-29 02:30,Level,12,mL'], 'at', /never/],
    ['no time', ['p,1,d,n,yesterday,Level,12,mL'], 'at', /no local time/],
    ['neither true nor false', ['p,1,d,n,2026-03-01 08:00,Clamp,maybe,'], 'value', /neither/],
  ] as const)('%s', async (_, lines, column, words) => {
    const [item] = await itemsIn(lines);
    const [fault] = item !== undefined && 'faults' in item ? item.faults : [];
    expect(fault?.pointer).toBe(column);
    expect(fault?.detail).toMatch(words);
    expect(fault?.mend).not.toBe('');
  });
});

test('a time without offset or zone is refused; with an offset it is taken as it is', () => {
  expect(momentText('2026-03-01 08:00', undefined)).toHaveProperty('fault');
  expect(momentText('2026-03-01 08:00:00.5+01:00', undefined)).toEqual({
    text: '2026-03-01T08:00:00.5+01:00',
  });
  expect(momentText('2026-10-25 02:30Z', 'Europe/Berlin')).toEqual({ text: '2026-10-25T02:30Z' });
});

test('a column may name the device in the place of the drain, or beside it; one of them has to', async () => {
  const { drain, ...rest } = MAPPING;
  const device = { system: 'urn:example:devices', column: 'drain' };
  const row = ['p1,1,m7,n1,2026-03-01 08:00,Level,120,mL'];
  const read = async (mapping: object) => {
    const [first] = await itemsIn(row, mapping);
    if (first === undefined || !('item' in first)) throw new Error('no item');
    return readItem(first.item, defaultProfiles());
  };
  const named = { system: 'urn:example:devices', value: 'm7' };
  expect(await read({ ...rest, device })).toMatchObject({ unit: [{ drain: null, body: { device: named } }] });
  expect(await read({ ...MAPPING, device })).toMatchObject({
    unit: [{ drain: { system: drain.system, value: 'm7' }, body: { device: named } }],
  });
  expect(csvMapping.safeParse(rest).error?.message).toContain('neither the column of the drain');
});

test('a mapping names only codes of what is read', () => {
  const bad = csvMapping.safeParse({ ...MAPPING, items: { Net: 'net-drainage' } });
  expect(bad.success).toBe(false);
  expect(csvMapping.safeParse({ ...MAPPING, colour: 1 }).success).toBe(false);
});
