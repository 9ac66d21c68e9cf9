/** The same sums by plain SQL over the rows of the file, with no look at how the service works them out. */
import Database from 'better-sqlite3';
import type { ChartedOutput } from './read-file.ts';
import { LEAD_MS } from './replay.ts';

export interface Expected {
  /** Outputs in order of time, with the sum so far, mL. */
  outputs(series: string): readonly { readonly ms: number; readonly ml: number; readonly sum: number }[];
  /** Output between two moments, mL: spread evenly between rows, but for rows over `maxGapMs` apart that an edge cuts. */
  between(series: string, from: number, to: number, maxGapMs: number): number;
}

export function expectedBySql(rows: readonly ChartedOutput[]): Expected {
  const db = new Database(':memory:');
  db.exec('CREATE TABLE output (series TEXT, ms INTEGER, ml REAL) STRICT');
  const insert = db.prepare('INSERT INTO output VALUES (?, ?, ?)');
  for (const { series, chartedMs, ml, isError } of rows) {
    if (ml !== null && !isError) insert.run(series, chartedMs, ml);
  }
  db.exec(`CREATE VIEW span AS
    SELECT series, ml, ms AS b, coalesce(lag(ms) OVER (PARTITION BY series ORDER BY ms), ms - ${LEAD_MS}) AS a FROM output`);
  const outputs = db.prepare<[string], { ms: number; ml: number; sum: number }>(
    'SELECT ms, ml, sum(ml) OVER (ORDER BY ms) AS sum FROM output WHERE series = ? ORDER BY ms',
  );
  const between = db
    .prepare<[object], number>(
      `SELECT coalesce(sum(CASE
         WHEN a >= @from AND b <= @to THEN ml
         WHEN b - a <= @gap THEN ml * (min(b, @to) - max(a, @from)) / (b - a)
         ELSE 0 END), 0)
       FROM span WHERE series = @series AND b > @from AND a < @to`,
    )
    .pluck();
  return {
    outputs: (series) => outputs.all(series),
    between: (series, from, to, gap) => between.get({ series, from, to, gap }) ?? 0,
  };
}
