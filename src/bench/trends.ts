/**
 * What 24 hours by hour and a week by day cost beside plain SQL sums over the same readings, laid out for it, and what the overview costs
 * at first and from then on.
 */
import { rmSync } from 'node:fs';
import Database from 'better-sqlite3';
import { createOverview, type Overview } from '../record/overview/overview.ts';
import { createRecord } from '../record/record.ts';
import type { AskedTrends } from '../record/trends/trends.ts';
import { trendsViewOf } from '../record/trends/trends-view.ts';
import type { Store } from '../store/port.ts';
import { incoming } from './cost-per-entry.ts';
import { median } from './measure.ts';
import { reading } from './messages.ts';
import { BENCH_POLICY, openBenchStore } from './store.ts';

const CALENDAR = { zone: 'Europe/Berlin', dayStart: 420, shiftStarts: [420, 1140] };
const ASKED: AskedTrends = { series: ['net'], bucket: 'hour', from: null, to: null, last_h: 24 };
const WEEK_BY_DAY: AskedTrends = { ...ASKED, bucket: 'day', last_h: 168 };
const HOUR_MS = 3_600_000;
const DAY_MS = 24 * HOUR_MS;
const SAMPLE = 300;
const WARM_UP = 1000;

export interface TrendFigures {
  readonly readings: number;
  readonly drains: number;
  readonly trends: readonly object[];
  readonly overview: readonly object[];
}

/** @param file a filled ledger that nobody has open; what is kept beside it is thrown away first */
export async function trendFigures(file: string): Promise<TrendFigures> {
  rmSync(`${file}.kept`, { force: true });
  const raw = rawReadings(file);
  const before = openBenchStore(file, createRecord);
  const drains = before.store.drains('', 1_000_000);
  const first = await overviewCost(
    createOverview(before.store, BENCH_POLICY),
    'first: every drain worked out',
  );
  const busiest = [raw.busiest];
  const warm = timed(busiest, (drain) => trendText(before.store, drain, ASKED));
  const limit = timed(busiest, raw.hourly);
  // Whatever is still in memory leaves it here.
  await before.store.close();

  const { store, record } = openBenchStore(file, createRecord);
  const cold = timed(drains, (drain) => trendText(store, drain, ASKED));
  const coldLimit = timed(drains, raw.hourly);
  const coldWeek = timed(drains, (drain) => trendText(store, drain, WEEK_BY_DAY));
  const coldWeekLimit = timed(drains, raw.daily);
  const overview = await overviewCosts(store, async () => {
    const drain = drains[0] ?? '';
    await record([incoming(drain, reading('overview', 0, drain, 1))]);
  });
  const readings = raw.count;
  raw.close();
  await store.close();
  return {
    readings,
    drains: drains.length,
    trends: [
      row('the busiest drain, in memory', limit, warm),
      row('drains in turn, after a start: none in memory', coldLimit, cold),
      row('the same, a week by day', coldWeekLimit, coldWeek),
    ],
    overview: [first, ...overview],
  };
}

const row = (what: string, limit: number, ms: number): object => ({
  what,
  'limit ms': round(limit),
  ms: round(ms),
  ratio: Number((ms / limit).toFixed(2)),
});

const round = (ms: number): number => Number(ms.toFixed(3));

function trendText(store: Store, drain: string, asked: AskedTrends): string {
  const sums = store.sums(drain);
  if (sums === null) throw new Error(`${drain} is no drain`);
  const book = () => {
    throw new Error('sums need no book');
  };
  return JSON.stringify(trendsViewOf({ sums, weeks: () => store.sumsOfWeeks(drain), book }, CALENDAR, asked));
}

/** The limit: readings by drain and time, nothing else, and what a level rose in each hour; no unit change, no error. */
function rawReadings(file: string) {
  const db = new Database(':memory:');
  db.exec(`ATTACH '${file}' AS ledger;
    CREATE TABLE reading (drain TEXT, at INTEGER, level REAL, PRIMARY KEY (drain, at)) WITHOUT ROWID;
    INSERT OR IGNORE INTO reading
      SELECT stream, unixepoch(body ->> 'effective_at') * 1000, body ->> 'level_ml'
      FROM ledger.ledger JOIN ledger.payload USING (log_index) WHERE body ->> 'level_ml' IS NOT NULL;
    DETACH ledger`);
  const newest = db.prepare<[string], number>('SELECT max(at) FROM reading WHERE drain = ?').pluck();
  const sums = db.prepare(
    `SELECT at / ? AS bucket, max(level) - min(level) AS net FROM reading
     WHERE drain = ? AND at > ? AND at <= ? GROUP BY bucket`,
  );
  const sumsOf = (drain: string, bucketMs: number, overMs: number): string => {
    const to = newest.get(drain) ?? 0;
    return JSON.stringify(sums.all(bucketMs, drain, to - overMs, to));
  };
  return {
    busiest:
      db
        .prepare<[], string>('SELECT drain FROM reading GROUP BY drain ORDER BY count(*) DESC LIMIT 1')
        .pluck()
        .get() ?? '',
    count: db.prepare<[], number>('SELECT count(*) FROM reading').pluck().get() ?? 0,
    hourly: (drain: string) => sumsOf(drain, HOUR_MS, DAY_MS),
    daily: (drain: string) => sumsOf(drain, DAY_MS, 7 * DAY_MS),
    close: () => db.close(),
  };
}

/** Median, ms; drains in turn. */
function timed(drains: readonly string[], work: (drain: string) => unknown): number {
  const once = (n: number): number => {
    const drain = drains[n % drains.length] ?? '';
    const start = performance.now();
    work(drain);
    return performance.now() - start;
  };
  // First for nothing: a service that runs does not run cold code.
  for (let n = 0; n < WARM_UP; n += 1) once(n);
  return median(Array.from({ length: SAMPLE }, (_, n) => once(n)));
}

async function overviewCost(overview: Overview, what: string): Promise<object> {
  const start = performance.now();
  const text = JSON.stringify(await overview.rows());
  return { what, ms: round(performance.now() - start), 'kB of JSON': Math.round(text.length / 1000) };
}

async function overviewCosts(store: Store, enterOne: () => Promise<void>): Promise<readonly object[]> {
  const overview = createOverview(store, BENCH_POLICY);
  const first = await overviewCost(overview, 'first after a start');
  const again = await overviewCost(overview, 'again, nothing entered since');
  await enterOne();
  return [first, again, await overviewCost(overview, 'again, one entry since')];
}
