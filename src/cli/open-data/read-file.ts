/** Reads a file of charted outputs: one row a charted volume, times without zone taken as UTC. */
import { readFileSync } from 'node:fs';
import { parse } from 'csv-parse/sync';
import { z } from 'zod';

const row = z.object({
  subject_id: z.string().min(1),
  icustay_id: z.string(),
  itemid: z.string().min(1),
  label: z.string(),
  charttime: z.string().regex(/^\d{4}-\d\d-\d\d \d\d:\d\d:\d\d$/),
  storetime: z.string().regex(/^\d{4}-\d\d-\d\d \d\d:\d\d:\d\d$/),
  value: z.string().regex(/^(\d+(\.\d{1,3})?)?$/),
  valueuom: z.string(),
  iserror: z.string(),
});

export interface ChartedOutput {
  readonly subject: string;
  /** One tube: subject, stay and item together. */
  readonly series: string;
  readonly label: string;
  readonly chartedMs: number;
  readonly storedMs: number;
  /** mL since the row before; null where nothing was charted. */
  readonly ml: number | null;
  readonly isError: boolean;
}

/** Moves dates that were shifted into the future back into the past, by whole weeks, so that order and weekday stay. */
const WEEK_MS = 7 * 24 * 3_600_000;

/** @throws {Error} naming the row and the field that cannot be read */
export function readChartedOutputs(file: string, nowMs: number): ChartedOutput[] {
  const records: unknown[] = parse(readFileSync(file), { columns: true, bom: true, skip_empty_lines: true });
  const rows = records.map((record, i) => {
    const read = row.safeParse(record);
    if (!read.success) throw new Error(`${file}, row ${i + 2}: ${z.prettifyError(read.error)}`);
    return read.data;
  });
  const utc = (time: string): number => Date.parse(`${time.replace(' ', 'T')}Z`);
  const latest = Math.max(...rows.map(({ storetime }) => utc(storetime)));
  const shift = Math.max(0, Math.ceil((latest - nowMs) / WEEK_MS)) * WEEK_MS;
  return rows.map((r) => ({
    subject: r.subject_id,
    series: `${r.subject_id}-${r.icustay_id}-${r.itemid}`,
    label: r.label,
    chartedMs: utc(r.charttime) - shift,
    storedMs: utc(r.storetime) - shift,
    ml: r.value === '' ? null : Number(r.value),
    isError: r.iserror === '1',
  }));
}
