/** What a search costs beside reading the same stored texts from SQLite, on a ledger with many Observations. */
import Database from 'better-sqlite3';
import { createRecord, type Record } from '../record/record.ts';
import { startSearchIndex } from '../search/host.ts';
import type { Answer, Ask, SearchIndex } from '../search/port.ts';
import { createFrameReader } from '../store/sqlite/frames.ts';
import { incoming, placeDrain } from './cost-per-entry.ts';
import { processorTimeFromNow, quantile } from './measure.ts';
import { reading } from './messages.ts';
import { openBenchStore } from './store.ts';

const RUN = 'search';
const AT_ONCE = 200;
const FACTS_OF_A_READING = 17;
/** The drain whose patient is searched for has this many readings, whatever the others have. */
const BUSY_READINGS = 600;
const SAMPLE = 200;

/** A ledger of about so many Observations; the first drain is the busy one. */
export async function fillLedger(file: string, observations: number, drains: number): Promise<void> {
  const { store, record } = openBenchStore(file, createRecord);
  const names: string[] = [];
  for (let n = 0; n < drains; n += 1) names.push(await placeDrain(record, RUN, n));
  const each = Math.ceil((observations / FACTS_OF_A_READING - BUSY_READINGS) / drains);
  for (let n = 1; n <= Math.max(each, BUSY_READINGS); n += 1) {
    const due = n <= each ? names : names.slice(0, 1);
    for (let from = 0; from < due.length; from += AT_ONCE)
      await enterAll(record, due.slice(from, from + AT_ONCE), from, n);
  }
  await store.close();
}

async function enterAll(record: Record, drains: readonly string[], first: number, n: number): Promise<void> {
  const outcomes = await Promise.all(
    drains.map((drain, i) => record([incoming(drain, reading(RUN, first + i, drain, n))])),
  );
  const bad = outcomes.flat().find(({ kind }) => kind !== 'recorded');
  if (bad !== undefined) throw new Error(`reading ${n}: ${JSON.stringify(bad)}`);
}

export interface SearchFigures {
  readonly observations: number;
  readonly 'indexed /s': number;
  readonly rows: readonly object[];
}

/** The index is made, then asked; figures are processor time of all threads, which other work on the machine hardly moves. */
export async function searchFigures(file: string): Promise<SearchFigures> {
  const log = { error: (facts: object) => console.error(facts) };
  const index = startSearchIndex({
    database: file,
    zone: 'UTC',
    canonical: 'http://example.org/drainledger',
    log,
  });
  const started = performance.now();
  const costUs = processorTimeFromNow();
  const observations = await whenReady(index);
  const takenUs = costUs();
  const seconds = (performance.now() - started) / 1000;
  const rows = [
    takingIn(file, takenUs),
    await besideRaw(index, file, 'search', `patient=Patient/bench-0&code=level&_count=100`),
    await besideRaw(index, file, 'search', `patient=Patient/bench-0&_count=100`),
    await besideRaw(index, file, 'lastn', 'patient=Patient/bench-0&category=exam&max=6'),
    await deepPage(index),
  ];
  await index.close();
  return { observations, 'indexed /s': Math.round(observations / seconds), rows };
}

/** From nothing, an entry; the limit: all issues read in their order and filled in, with nothing kept of them. */
function takingIn(file: string, takenUs: number): object {
  const db = new Database(file, { readonly: true });
  const textsIn = createFrameReader(db);
  const costUs = processorTimeFromNow();
  let entries = 0;
  let bytes = 0;
  for (const stored of db
    .prepare<[], string>('SELECT resources FROM issued ORDER BY rowid')
    .pluck()
    .iterate()) {
    for (const text of textsIn(stored)) bytes += text.length;
    entries += 1;
  }
  const limit = costUs() / 1000 / entries;
  const taken = takenUs / 1000 / entries;
  db.close();
  return {
    what: `an entry taken in, ${Math.round(bytes / entries / 1000)} kB of texts`,
    'limit ms': Number(limit.toFixed(2)),
    ms: Number(taken.toFixed(2)),
    ratio: Number((taken / limit).toFixed(2)),
  };
}

/** Asks until the whole ledger is indexed. @returns the number of Observations */
async function whenReady(index: SearchIndex): Promise<number> {
  for (;;) {
    try {
      return JSON.parse(await asked(index, 'search', '_summary=count')).total;
    } catch {
      // It is still being made, and says so.
    }
  }
}

async function asked(index: SearchIndex, kind: Ask['kind'], query: string): Promise<string> {
  const pairs = [...new URLSearchParams(query)].map(([name, value]) => [name, value] as const);
  const base = 'http://127.0.0.1/fhir';
  const answer: Answer = await index.ask({
    kind,
    type: 'Observation',
    pairs,
    base,
    lenient: false,
    within: null,
    readable: ['Observation', 'Device', 'Provenance'],
    nowMs: Date.now(),
  });
  if (!('text' in answer)) throw new Error(answer.diagnostics);
  return answer.text;
}

/** The limit: the same issues, read by their key and filled in, with nothing searched and no Bundle made. */
async function besideRaw(
  index: SearchIndex,
  file: string,
  kind: Ask['kind'],
  query: string,
): Promise<object> {
  const text = await asked(index, kind, query);
  const entries = (JSON.parse(text).entry ?? []) as readonly { readonly resource: { readonly id: string } }[];
  const issues = issuesOf(
    file,
    entries.map(({ resource }) => resource.id),
  );
  const db = new Database(file, { readonly: true });
  const read = db.prepare<[number], string>('SELECT resources FROM issued WHERE rowid = ?').pluck();
  const textsIn = createFrameReader(db);
  const raw = await timed(() => issues.map((issue) => textsIn(read.get(issue) ?? '[]')));
  db.close();
  const found = await timed(() => asked(index, kind, query));
  return row(`${kind} ${query}, ${entries.length} found`, raw, found);
}

/** A page of one code over all patients, deep in the result, beside its first page. */
async function deepPage(index: SearchIndex): Promise<object> {
  const first = 'code=level&_count=100';
  let query = first;
  let page = 1;
  for (; page < 500; page += 1) {
    const next = nextOf(await asked(index, 'search', query));
    if (next === undefined) break;
    query = next;
  }
  const [limit, deep] = [
    await timed(() => asked(index, 'search', first)),
    await timed(() => asked(index, 'search', query)),
  ];
  return row(`page ${page} beside page 1 of code=level`, limit, deep);
}

const nextOf = (text: string): string | undefined =>
  /"relation":"next","url":"[^?]*\?([^"]*)"/.exec(text)?.[1];

function issuesOf(file: string, ids: readonly string[]): readonly number[] {
  const db = new Database(`${file}.search`, { readonly: true });
  const find = db.prepare<[string], number>(
    'SELECT DISTINCT issue FROM version WHERE id IN (SELECT value FROM json_each(?))',
  );
  const issues = find.pluck().all(JSON.stringify(ids));
  db.close();
  return issues;
}

interface Times {
  /** Processor time of one, ms. */
  readonly cpu: number;
  /** From question to answer, ms. */
  readonly p99: number;
}

async function timed(work: () => unknown): Promise<Times> {
  await work();
  const times: number[] = [];
  const costUs = processorTimeFromNow();
  for (let n = 0; n < SAMPLE; n += 1) {
    const start = performance.now();
    await work();
    times.push(performance.now() - start);
  }
  return { cpu: costUs() / 1000 / SAMPLE, p99: quantile(times, 0.99) };
}

const row = (what: string, limit: Times, found: Times): object => ({
  what,
  'limit ms': Number(limit.cpu.toFixed(2)),
  ms: Number(found.cpu.toFixed(2)),
  ratio: Number((found.cpu / limit.cpu).toFixed(2)),
  'p99 ms': Number(found.p99.toFixed(2)),
});
