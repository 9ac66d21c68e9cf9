import { pipeline, Readable } from 'node:stream';
import { parse } from 'csv-parse';
import type { CsvRow, NumberedRow } from './rows.ts';

interface Parsed {
  readonly record: CsvRow;
  readonly info: { readonly lines: number };
}

/**
 * Rows by the names of the first line, in memory that does not grow (RFC 4180; a byte order mark is taken off).
 * @param onHeader told of the names before the first row; may throw
 * @throws {Error} while it is read, naming the line, when it is no CSV
 */
export async function* csvRows(
  source: AsyncIterable<Buffer>,
  delimiter: string,
  onHeader: (names: readonly string[]) => void,
): AsyncGenerator<NumberedRow> {
  const parser = parse({
    delimiter,
    bom: true,
    skip_empty_lines: true,
    info: true,
    columns: (names: string[]) => {
      onHeader(names);
      return names;
    },
  });
  // What goes wrong with either comes out of the parser.
  pipeline(Readable.from(source), parser, () => undefined);
  for await (const { record, info } of parser as AsyncIterable<Parsed>)
    yield { line: info.lines, row: record };
}
