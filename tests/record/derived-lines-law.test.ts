/**
 * What a CSV says of a row is what the chart route answers for it, on generated ledgers. Read back by csv-parse 7 (MIT),
 * which shares no code with the writer and reads the corpus of csv-spectrum right (tests/intake/csv.test.ts).
 */
import { parse } from 'csv-parse/sync';
import fc from 'fast-check';
import { describe, expect, it, vi } from 'vitest';
import type { Row } from '../../src/domain/fold/row.ts';
import { derivedLines } from '../../src/record/csv/derived-lines.ts';
import { COLUMNS, HEADER } from '../../src/record/csv/drain-csv.ts';
import { rowView } from '../../src/record/view.ts';
import { derivedValues } from '../support/derived-values.ts';
import { rowsIn, rowsOf, type Told, tell } from '../support/drain-script.ts';
import { arrivalOf, ledger } from '../support/ledgers.ts';
import { measuredDrain } from '../support/measured-drains.ts';
import { ROWS_ONLY } from '../support/policy.ts';

// A failure needs time to shrink to its smallest form.
vi.setConfig({ testTimeout: 120_000 });

const BEFORE_QUANTITY = COLUMNS.slice(0, COLUMNS.indexOf('quantity'));

/** Each cell before the quantity holds the name of its column. */
const readBack = (row: Row): unknown[] =>
  parse(HEADER + derivedLines(`${BEFORE_QUANTITY.join(',')},`, row), { columns: true });

const cell = (value: string | number | boolean | null | undefined): string => `${value ?? ''}`;

/** As an answer goes over the wire. */
const answered = (row: Row): ReturnType<typeof rowView> => JSON.parse(JSON.stringify(rowView(row)));

const expected = (row: Row): unknown[] =>
  derivedValues(answered(row)).map((each) => ({
    ...Object.fromEntries(BEFORE_QUANTITY.map((column) => [column, column])),
    quantity: each.quantity,
    value: cell(each.value),
    unit: each.unit,
    uncertainty_k2: cell(each.uncertainty),
    low: cell(each.low),
    high: cell(each.high),
    at_least: cell(each.atLeast),
    coverage: cell(each.coverage),
    from: cell(each.from),
    to: cell(each.to),
    absent_reason: each.reasons.join(' '),
    remarks: cell(each.remarks?.join(' ')),
    note: '',
    body: '',
  }));

const saysTheSame = (rows: readonly Row[]): void => {
  for (const row of rows) expect(readBack(row)).toEqual(expected(row));
};

describe('each record of what is derived', () => {
  it('is a value of the chart, on ledgers with late entries, corrections, unit changes and falls', () => {
    fc.assert(
      fc.property(ledger.chain(arrivalOf), (story: readonly Told[]) => {
        const { subject } = tell(story, new Map(), ROWS_ONLY);
        for (const drain of ['d1', 'd2']) saysTheSame(rowsIn(subject, drain));
      }),
      { numRuns: 200 },
    );
  });

  it('is one where all is measured too, closely or with long gaps', () => {
    const drain = fc.oneof(measuredDrain(90), measuredDrain(1500));
    fc.assert(
      fc.property(drain, ({ story }) => saysTheSame(rowsOf(story))),
      { numRuns: 200 },
    );
  });
});
