/** A file as the lines that are posted, each with what it came from, so that a refused one can be mended and sent again. */
import { createReadStream } from 'node:fs';
import { readJson } from '../../configuration/json-file.ts';
import { type CsvMapping, columnsOf, csvMapping } from '../../intake/csv/mapping.ts';
import { csvRows } from '../../intake/csv/read-rows.ts';
import { itemsOf } from '../../intake/csv/rows.ts';
import { type Fault, faultText } from '../../intake/fault.ts';
import { linesOf } from '../../intake/lines.ts';
import { faultsOf } from '../../intake/native/zod-faults.ts';
import { writeExact } from '../../json/exact-write.ts';

/** Of a file: its lines, or rows as CSV writes them. */
export interface Source {
  /** Of the file where it begins, from 1. */
  readonly line: number;
  /** JSON of the item; null where the file itself shows that it cannot be one. */
  readonly json: string | null;
  readonly faults: readonly Fault[];
  /** As it stood in the file, to be written to the file of what was refused; null where it could not be read. */
  readonly original: string | null;
}

export interface Sources {
  readonly items: AsyncIterable<Source>;
  /** First line of a file of refused ones; empty where there is none. */
  readonly header: string;
}

const LINE_BYTES = 256 * 1024;

/** @param onBytes told of what was read of the file */
export function ndjsonItems(file: string, onBytes: (bytes: number) => void): Sources {
  const read = async function* (): AsyncGenerator<Source> {
    for await (const { number: line, ...read } of linesOf(counted(file, onBytes), LINE_BYTES)) {
      if ('text' in read) yield { line, json: read.text, faults: [], original: read.text };
      else yield { line, json: null, faults: [unreadable(read.fault)], original: null };
    }
  };
  return { items: read(), header: '' };
}

const unreadable = (fault: string): Fault => ({
  pointer: 'the line',
  value: undefined,
  detail: `is ${fault.replaceAll('-', ' ')}`,
  mend: `write at most ${LINE_BYTES} bytes of UTF-8`,
});

/** @throws {Error} when the mapping cannot be used, with all that is wrong with it */
export function readMapping(file: string): CsvMapping {
  const sent = readJson(file, JSON.parse);
  const read = csvMapping.safeParse(sent);
  if (read.success) return read.data;
  const faults = faultsOf(read.error, sent).map(faultText);
  throw new Error(`${file} cannot be used as a mapping:\n${faults.join('\n')}`);
}

/** @throws {Error} while it is read: when a column is missing, or it is no CSV (RFC 4180) */
export function csvItems(file: string, mapping: CsvMapping, onBytes: (bytes: number) => void): Sources {
  const columns = columnsOf(mapping);
  let header: readonly string[] = [];
  const onHeader = (names: readonly string[]): void => {
    header = names;
    const missing = columns.filter((column) => !names.includes(column));
    if (missing.length > 0)
      throw new Error(
        `${file} has no column ${missing.join(', ')}: its columns are ${names.join(', ')}; where another sign than ${mapping.delimiter} separates them, say by delimiter in the mapping which`,
      );
  };
  const items = async function* (): AsyncGenerator<Source> {
    for await (const each of itemsOf(csvRows(counted(file, onBytes), mapping.delimiter, onHeader), mapping)) {
      const { line, rows } = each;
      const original = rows
        .map((row) =>
          csvLine(
            header.map((name) => row[name] ?? ''),
            mapping,
          ),
        )
        .join('\n');
      if ('faults' in each) yield { line, json: null, faults: each.faults, original };
      else yield { line, json: writeExact(each.item), faults: [], original };
    }
    if (header.length === 0) throw new Error(`${file} has no header: its first line names the columns`);
  };
  return {
    items: items(),
    get header() {
      return csvLine(header, mapping);
    },
  };
}

const csvLine = (fields: readonly string[], { delimiter }: CsvMapping): string =>
  fields
    .map((field) =>
      /["\r\n]/.test(field) || field.includes(delimiter) ? `"${field.replaceAll('"', '""')}"` : field,
    )
    .join(delimiter);

async function* counted(file: string, onBytes: (bytes: number) => void): AsyncGenerator<Buffer> {
  let bytes = 0;
  for await (const part of createReadStream(file)) {
    bytes += (part as Buffer).length;
    onBytes(bytes);
    yield part as Buffer;
  }
}
