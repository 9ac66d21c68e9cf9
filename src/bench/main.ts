/** `npm run bench`: figures as ratios to limits measured in the same run; printed, and written to bench-results/. */
import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { accessCost } from './access-cost.ts';
import { costPerEntry } from './cost-per-entry.ts';
import { deliveryRate } from './delivery.ts';
import { doorRates } from './doors.ts';
import { exportRates } from './exports.ts';
import { fleetCost } from './fleet.ts';
import { fillLargeLedger } from './large-ledger.ts';
import { type Load, load, placeDrains } from './load.ts';
import { startScript } from './process.ts';
import { readsWhileWriting } from './reads-while-writing.ts';
import { recovery } from './recovery.ts';
import { fillLedger, searchFigures } from './search.ts';
import { searchesUnderLoad } from './search-under-load.ts';
import { treeCost } from './tree-cost.ts';
import { trendFigures } from './trends.ts';
import { verifyCost } from './verify-cost.ts';
import { wholeFold } from './whole-fold.ts';

const SECONDS = Number(process.env.BENCH_SECONDS ?? '5');
const DRAINS = 200;
const CONNECTIONS = [1, 10, 50, 200];
const ENTRIES = Number(process.env.BENCH_ENTRIES ?? '100000');
/** The full size is 1,000,000 on 2,000 drains, which takes most of an hour to fill on a slow machine. */
const OBSERVATIONS = Number(process.env.BENCH_OBSERVATIONS ?? '50000');

/** For trends and the overview: the full size is 1,000,000 on 2,000 drains, about five minutes to fill. */
const READINGS = Number(process.env.BENCH_READINGS ?? '20000');
const READINGS_OF_A_DRAIN = 500;

type Figure = Load & { readonly cpuPerRequest: number };

async function ingest(args: readonly string[]): Promise<Map<number, Figure>> {
  const running = await startScript('server.js', args);
  const figures = new Map<number, Figure>();
  try {
    const drains = await placeDrains(running.url, `run-${process.pid}`, DRAINS);
    await load(running.url, drains, 50, 2);
    for (const connections of CONNECTIONS) {
      const before = running.cpu();
      const figure = await load(running.url, drains, connections, SECONDS);
      figures.set(connections, {
        ...figure,
        cpuPerRequest: (running.cpu() - before) / (figure.perSecond * SECONDS),
      });
    }
  } finally {
    await running.stop();
  }
  return figures;
}

/** Figures of several set-ups side by side, each as a ratio to the first. */
function sideBySide(setUps: Readonly<Record<string, Map<number, Figure>>>): object[] {
  const [limit] = Object.values(setUps);
  return CONNECTIONS.map((connections) => {
    const row: Record<string, number> = { connections };
    for (const [name, figures] of Object.entries(setUps)) {
      const figure = figures.get(connections);
      const most = limit?.get(connections);
      if (figure === undefined || most === undefined)
        throw new Error(`no figure of ${name} at ${connections}`);
      row[`${name} /s`] = Math.round(figure.perSecond);
      if (figure !== most) row[`${name} ratio`] = Number((figure.perSecond / most.perSecond).toFixed(2));
      row[`${name} p99 ms`] = figure.p99;
      row[`${name} cpu µs`] = Math.round(figure.cpuPerRequest);
    }
    return row;
  });
}

/** So long, an index that does not keep up is found behind. */
const LONG_SECONDS = 60;

/** Readings that are charted while the EHR is away; an hour at 100 a second would be 360,000. */
const OUTAGE_READINGS = Number(process.env.BENCH_OUTAGE_READINGS ?? '10000');

/** Readings through each door; the full size is 100,000. */
const LINES = Number(process.env.BENCH_LINES ?? '20000');

const folder = mkdtempSync(join(tmpdir(), 'drainledger-bench-'));
try {
  const ingestRows = sideBySide({
    limit: await ingest([]),
    main: await ingest(['--database', join(folder, 'main.db')]),
    worker: await ingest(['--database', join(folder, 'worker.db'), '--worker']),
  });
  const doors = await doorRates(folder, LINES);
  const delivery = await deliveryRate(join(folder, 'delivery.db'));
  const recovered = await recovery(join(folder, 'recovery.db'), SECONDS, OUTAGE_READINGS);
  const reads = await readsWhileWriting(join(folder, 'reads.db'), SECONDS);
  const keepingUp = await searchesUnderLoad(join(folder, 'keeping-up.db'), LONG_SECONDS);
  const access = await accessCost(join(folder, 'access.db'), SECONDS);
  const cost = await costPerEntry(join(folder, 'cost.db'));
  const tree = await treeCost(folder);
  const fleet = await fleetCost(folder);
  const verify = await verifyCost(join(folder, 'verify.db'), ENTRIES);
  const fold = wholeFold();
  const searched = join(folder, 'search.db');
  await fillLedger(searched, OBSERVATIONS, Math.ceil(OBSERVATIONS / 500));
  const search = await searchFigures(searched);
  const exported = await exportRates(searched, folder);
  const large = join(folder, 'large.db');
  await fillLargeLedger(large, READINGS, Math.ceil(READINGS / READINGS_OF_A_DRAIN));
  const trends = await trendFigures(large);
  console.log(
    'Durable ingest, full derivation; limit: the same route with validation only (target at 50: ratio >= 0.5)',
  );
  console.log(
    'main: writer on the main thread, as the service runs; worker: derivation and writer in a thread',
  );
  console.table(ingestRows);
  console.log(
    `${LINES} readings through each door; limit: the JSON route at 50 connections (targets: lines >= 0.7; of 100,000, memory at the end <= 1.05 of that in the middle)`,
  );
  console.table(doors);
  console.log(
    'Deliveries by transaction to an EHR that answers at once; limit: a bare HTTP client (target: ratio >= 0.5)',
  );
  console.table(delivery);
  console.log(
    'Ingest at 100 readings/s while a backlog is delivered; limit: the same without (target: ratio <= 2)',
  );
  console.table([recovered]);
  console.log('Reads over HTTP while 50 write; limit: the same while nobody does (target: ratio <= 2)');
  console.table(reads);
  console.log(
    `Searches while 50 write for ${LONG_SECONDS} s; limit: those of the middle third (targets: ratio <= 1.5, none refused)`,
  );
  console.table([keepingUp]);
  console.log(
    'Reads that are written as accesses; limit: the same, only counted (target at 50: ratio >= 0.2)',
  );
  console.table(access);
  console.log('Cost of the next entry of one drain (target: ratio <= 1.3)');
  console.table([cost]);
  console.log(
    'Processor time of an entry with the tree over all entries, and without (target: ratio >= 0.85)',
  );
  console.table(tree);
  console.log('Units that report every 10 s; limit: all of it charted');
  console.table(fleet);
  console.log('A whole ledger recomputed; limit: the same rows read and hashed once');
  console.table([verify]);
  console.log(
    '20,160 readings of one drain, one a minute; limit: to parse and sort the same entries (target: whole under 1 s, next ratio <= 1.3)',
  );
  console.table([fold]);
  console.log(
    `Searches over ${search.observations} Observations, ${search['indexed /s']} indexed a second; processor time; limit: the same stored texts read raw (targets: <= 5, deep page <= 1.5)`,
  );
  console.table(search.rows);
  console.log(
    'Exports of the same ledger; limit: the lines that each wrote, read from a table of SQLite and printed (targets: ratio >= 0.5, under 150 MiB)',
  );
  console.table(exported);
  console.log(
    `24 h by hour of a drain, among ${trends.readings} readings; limit: a plain SQL sum over nothing but them (target: <= 5)`,
  );
  console.table(trends.trends);
  console.log(`The overview of ${trends.drains} drains`);
  console.table(trends.overview);
  mkdirSync('bench-results', { recursive: true });
  const results = {
    node: process.version,
    ingest: ingestRows,
    doors,
    delivery,
    recovered,
    reads,
    keepingUp,
    access,
    cost,
    tree,
    fleet,
    verify,
    fold,
    search,
    exported,
    trends,
  };
  writeFileSync('bench-results/latest.json', `${JSON.stringify(results, null, 2)}\n`);
} finally {
  rmSync(folder, { recursive: true, force: true });
}
