/**
 * Replays a public file of charted outputs through the real API and compares every sum with plain SQL. The shape is that
 * of the chest-tube rows of OUTPUTEVENTS in the MIMIC-III Clinical Database Demo v1.4 (PhysioNet, Open Database License),
 * with the item label beside each; the file is not part of this repository.
 */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { pino } from 'pino';
import { readConfig } from '../../config.ts';
import { HOUR_MS } from '../../domain/numbers/units.ts';
import { DEFAULT_SETTINGS } from '../../domain/vocabulary/settings.ts';
import { startService } from '../../service.ts';
import { type Expected, expectedBySql } from './expected.ts';
import { type ChartedOutput, readChartedOutputs } from './read-file.ts';
import { LEAD_MS, replaySeries } from './replay.ts';

/** Half a unit of the last digit shown. */
const ROUNDING_ML = 0.05 + 1e-9;
const KINDS = ['hour', 'shift', 'day'] as const;
/** Windows of one request, within what the service answers. */
const STEP_MS = 150 * HOUR_MS;

interface ChartAnswer {
  readonly rows: readonly {
    readonly kind: string;
    readonly effective_at: string;
    readonly since_reading?: { readonly net_ml: number | null };
    readonly cumulative?: { readonly net_ml: number | null };
  }[];
}

interface WindowsAnswer {
  readonly windows: readonly { readonly from: string; readonly to: string; readonly net_ml: number | null }[];
}

/** What was compared, and each difference in words. */
class Tally {
  readonly counts = new Map<string, number>();
  readonly differences: string[] = [];

  compare(what: string, where: string, got: number | null | undefined, expected: number): void {
    this.counts.set(what, (this.counts.get(what) ?? 0) + 1);
    if (Math.abs((got ?? Number.NaN) - expected) <= ROUNDING_ML) return;
    this.differences.push(`${what} ${where}: the service says ${got}, SQL ${expected}`);
  }
}

async function getJson<T>(url: string): Promise<T> {
  const answer = await fetch(url);
  if (!answer.ok) throw new Error(`${url} answered ${answer.status}: ${await answer.text()}`);
  return (await answer.json()) as T;
}

async function compareChart(base: string, drain: string, series: string, expected: Expected, tally: Tally) {
  const { rows } = await getJson<ChartAnswer>(`${base}/v1/drains/${drain}/chart`);
  const readings = new Map(
    rows
      .filter(({ kind, since_reading }) => kind === 'reading' && since_reading !== undefined)
      .map((row) => [Date.parse(row.effective_at), row]),
  );
  for (const { ms, ml, sum } of expected.outputs(series)) {
    const where = `${series} ${new Date(ms).toISOString()}`;
    tally.compare('interval', where, readings.get(ms)?.since_reading?.net_ml, ml);
    tally.compare('cumulative', where, readings.get(ms)?.cumulative?.net_ml, sum);
  }
}

async function compareWindows(base: string, drain: string, series: string, expected: Expected, tally: Tally) {
  const outputs = expected.outputs(series);
  const [first] = outputs;
  if (first === undefined) return;
  const start = first.ms - LEAD_MS;
  const end = outputs.at(-1)?.ms ?? start;
  for (const kind of KINDS) {
    for (let from = start; from < end; from += STEP_MS) {
      const to = Math.min(end, from + STEP_MS);
      const query = `kind=${kind}&from=${new Date(from).toISOString()}&to=${new Date(to).toISOString()}`;
      const { windows } = await getJson<WindowsAnswer>(`${base}/v1/drains/${drain}/windows?${query}`);
      for (const window of windows) {
        const [a, b] = [Date.parse(window.from), Date.parse(window.to)];
        const sum = expected.between(series, a, b, DEFAULT_SETTINGS.max_gap_ms);
        tally.compare(kind, `${series} ${window.from}`, window.net_ml ?? 0, sum);
      }
    }
  }
}

function bySeries(rows: readonly ChartedOutput[]): Map<string, ChartedOutput[]> {
  const found = new Map<string, ChartedOutput[]>();
  for (const row of [...rows].sort((a, b) => a.chartedMs - b.chartedMs)) {
    found.set(row.series, [...(found.get(row.series) ?? []), row]);
  }
  return found;
}

/** @returns 0 when every sum agrees, 1 otherwise */
export async function checkOpenData(file: string, print: (line: string) => void): Promise<number> {
  const rows = readChartedOutputs(file, Date.now());
  const folder = mkdtempSync(join(tmpdir(), 'drainledger-open-data-'));
  const service = await startService({
    config: readConfig({
      DRAINLEDGER_DATABASE: join(folder, 'ledger.db'),
      DRAINLEDGER_ORIGIN: 'open-data.example',
      DRAINLEDGER_DEVELOPMENT: 'yes',
      DRAINLEDGER_PORT: '0',
    }),
    logger: pino({ level: 'silent' }),
    onFatal(error) {
      throw error;
    },
  });
  const tally = new Tally();
  try {
    const expected = expectedBySql(rows);
    for (const [series, charted] of bySeries(rows)) {
      const drain = await replaySeries(service.url, series, charted);
      await compareChart(service.url, drain, series, expected, tally);
      await compareWindows(service.url, drain, series, expected, tally);
    }
  } finally {
    await service.stop();
    rmSync(folder, { recursive: true, force: true });
  }
  report(rows, tally, print);
  return tally.differences.length === 0 && tally.counts.size > 0 ? 0 : 1;
}

function report(
  rows: readonly ChartedOutput[],
  { counts, differences }: Tally,
  print: (line: string) => void,
): void {
  const empty = rows.filter(({ ml }) => ml === null).length;
  const errors = rows.filter(({ isError }) => isError).length;
  print(`${rows.length} rows replayed in the order in which they were stored.`);
  print(`${empty} without a value: not charted, so their time is in the interval that follows.`);
  print(`${errors} marked as errors: entered and then entered in error.`);
  for (const [what, count] of counts) print(`${what}: ${count} compared`);
  for (const difference of differences) print(difference);
  print(
    differences.length === 0 ? 'All agree with plain SQL.' : `${differences.length} differ from plain SQL.`,
  );
}
