/** Rows of a file, each one value that was charted, to items as they are posted; rows of one key are one entry. */
import { RAW_CODES, type RawCode } from '../../fhir/raw-codes.ts';
import { ExactNumber, type ExactValue } from '../../json/exact-json.ts';
import { type Fault, shown } from '../fault.ts';
import { putField } from '../put-field.ts';
import { type CsvMapping, named } from './mapping.ts';
import { momentText } from './moment.ts';

/** By column. */
export type CsvRow = Readonly<Record<string, string>>;

export interface NumberedRow {
  /** Of the file on which the row ends, from 1; the header is on one too. */
  readonly line: number;
  readonly row: CsvRow;
}

type ItemOrFaults = { readonly item: ExactValue } | { readonly faults: readonly Fault[] };

export type Item = ItemOrFaults & {
  /** Of its first row. */
  readonly line: number;
  readonly rows: readonly CsvRow[];
};

/** Puts rows together as they come. Rows without a value say nothing and are left out. */
export async function* itemsOf(rows: AsyncIterable<NumberedRow>, mapping: CsvMapping): AsyncGenerator<Item> {
  let key = '';
  let first = 0;
  let group: CsvRow[] = [];
  const taken = (): Item => ({ line: first, rows: group, ...itemOf(group, mapping) });
  for await (const { line, row } of rows) {
    if ((row[mapping.value] ?? '').trim() === '') continue;
    const next = keyOf(row, mapping);
    if (group.length > 0 && next !== key) {
      yield taken();
      group = [];
    }
    if (group.length === 0) first = line;
    key = next;
    group.push(row);
  }
  if (group.length > 0) yield taken();
}

const keyOf = (row: CsvRow, { key }: CsvMapping): string => key.map((column) => row[column]).join('/');

function itemOf(rows: readonly CsvRow[], mapping: CsvMapping): ItemOrFaults {
  const [first = {}] = rows;
  const faults: Fault[] = [];
  const { drain, device, author, time } = mapping;
  for (const column of [...named(mapping), author, time].map((each) => each.column)) {
    const other = rows.find((row) => row[column] !== first[column]);
    if (other !== undefined)
      faults.push(fault(column, other, 'differs among rows of one key', 'give them keys of their own'));
  }
  const at = momentText(first[time.column] ?? '', time.zone);
  if ('fault' in at) faults.push(fault(time.column, first, at.fault, at.mend));
  const item: Record<string, ExactValue> = {
    ...(drain === undefined ? {} : { drain: identifierIn(first, drain) }),
    ...(device === undefined ? {} : { device: identifierIn(first, device) }),
    identifier: { system: mapping.system, value: keyOf(first, mapping) },
    author: { type: author.type, identifier: { system: author.system, value: first[author.column] ?? '' } },
    effective_at: 'text' in at ? at.text : '',
  };
  for (const row of rows) faults.push(...chart(item, row, mapping));
  return faults.length > 0 ? { faults } : { item };
}

const identifierIn = (row: CsvRow, { system, column }: { system: string; column: string }) => ({
  system,
  value: row[column] ?? '',
});

/** Adds one row's value to an item, or says what is wrong with it. */
function chart(item: Record<string, ExactValue>, row: CsvRow, mapping: CsvMapping): readonly Fault[] {
  const name = mapping.items[row[mapping.item] ?? ''];
  const code = name === undefined ? undefined : RAW_CODES[name];
  if (name === undefined || code === undefined) {
    const known = Object.keys(mapping.items).join(', ');
    return [fault(mapping.item, row, 'is no item of the mapping', `add it to items; known are ${known}`)];
  }
  if (item.kind !== undefined && item.kind !== code.entry)
    return [fault(mapping.item, row, 'is charted by itself', 'give it a key of its own')];
  item.kind = code.entry;
  const read = valueIn(row, name, code, mapping);
  if ('fault' in read) return [read.fault];
  return putField(item, code.field, read.value)
    ? []
    : [fault(mapping.item, row, 'stands twice under one key', 'give one of them a key of its own')];
}

const NUMBER = /^-?\d+(\.\d+)?$/;

function valueIn(
  row: CsvRow,
  name: string,
  code: RawCode,
  mapping: CsvMapping,
): { readonly value: ExactValue } | { readonly fault: Fault } {
  const text = (row[mapping.value] ?? '').trim();
  const wrong = (detail: string, mend: string) => ({ fault: fault(mapping.value, row, detail, mend) });
  if (code.value === 'text') return { value: text };
  const coded = mapping.values[name]?.[text] ?? text;
  if (code.value === 'code') return { value: coded };
  if (code.value === 'boolean') {
    if (coded === 'true' || coded === 'false') return { value: coded === 'true' };
    return wrong('is neither true nor false', `map it in values.${name}`);
  }
  if (/^-?\d+,\d+$/.test(text)) return wrong('has a decimal comma', 'write a decimal point');
  if (!NUMBER.test(text)) return wrong('is no plain number', 'write digits such as 12 or 12.5');
  if (code.value === 'integer') return { value: new ExactNumber(text) };
  const spelled = (row[mapping.unit] ?? '').trim();
  if (spelled === '')
    return { fault: fault(mapping.unit, row, 'is empty', 'write the unit that the value is in') };
  return { value: { value: new ExactNumber(text), unit: mapping.units[spelled] ?? spelled } };
}

const fault = (column: string, row: CsvRow, detail: string, mend: string): Fault => ({
  pointer: column,
  value: shown(row[column]),
  detail,
  mend,
});
