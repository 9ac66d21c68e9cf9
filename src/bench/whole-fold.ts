/**
 * What 14 days of one drain cost when a reading is charted each minute: to fold them whole, to take one that comes late
 * at the very start, and to take the next in order, beside the same where there are only ten. No store and no text.
 */
import { openBooks, type Subject } from '../domain/book/book.ts';
import { decide, enter } from '../domain/decide.ts';
import { parseInstant } from '../domain/numbers/instant.ts';
import { epochMs, MINUTE_MS } from '../domain/numbers/units.ts';
import type { Entry } from '../domain/vocabulary/entry.ts';
import type { Incoming } from '../record/incoming.ts';
import { drainNameOf } from '../record/record.ts';
import { incoming } from './cost-per-entry.ts';
import { median, processorTimeFromNow } from './measure.ts';
import { placement, reading, setUp } from './messages.ts';
import { BENCH_POLICY } from './store.ts';

const READINGS = 14 * 24 * 60;
const FEW = 10;
const SAMPLE = 200;
const TIMES = 3;
const RUN = 'fold';

export interface FoldCost {
  /** To parse the texts of the same entries and sort them by time, which any fold has to. */
  readonly 'limit ms': number;
  readonly 'whole ms': number;
  readonly 'whole ratio': number;
  readonly 'late at the start ms': number;
  readonly 'next µs at the 10th': number;
  readonly 'next µs at the 20,160th': number;
  readonly 'next ratio': number;
}

export function wholeFold(): FoldCost {
  const placed = incoming('', placement(RUN, 0));
  const drain = drainNameOf(placed.body.identifier);
  const readings = Array.from({ length: READINGS + SAMPLE }, (_, n) =>
    incoming(drain, reading(RUN, 0, drain, n + 1, MINUTE_MS)),
  );
  const all = [placed, incoming(drain, setUp(RUN, 0, drain)), ...readings];
  const entries = all.map((each, n) => entryOf(drain, each, n + 1));
  const whole = entries.slice(0, -SAMPLE);
  const open = (some: readonly Entry[]): Subject =>
    openBooks(new Map([[drain, some]]), new Map(), BENCH_POLICY);

  const limit = processorTime(() => parsedInOrder(all.slice(0, -SAMPLE)));
  const fold = processorTime(() => open(whole));
  const first = entries[2];
  if (first === undefined) throw new Error('there is no reading');
  const opened = open(whole);
  const late = processorTime(() => decided(opened, lateAfter(first, entries.length)));
  const few = () => ({ subject: open(entries.slice(0, FEW)), next: entries.slice(FEW, FEW + SAMPLE) });
  const many = { subject: opened, next: entries.slice(-SAMPLE) };
  // Once for nothing: a service that runs does not run cold code.
  nextCosts(few(), few());
  const [atTheTenth, atTheEnd] = nextCosts(few(), many);
  return {
    'limit ms': Math.round(limit),
    'whole ms': Math.round(fold),
    'whole ratio': Number((fold / limit).toFixed(1)),
    'late at the start ms': Math.round(late),
    'next µs at the 10th': Math.round(atTheTenth),
    'next µs at the 20,160th': Math.round(atTheEnd),
    'next ratio': Number((atTheEnd / atTheTenth).toFixed(2)),
  };
}

function entryOf(drain: string, { body }: Incoming, seq: number): Entry {
  const effective = parseInstant(body.effective_at);
  if (effective === undefined) throw new Error(`${body.effective_at} is no instant`);
  const recorded_ms = epochMs(effective.ms + MINUTE_MS);
  return { id: drainNameOf(body.identifier), drain, seq, effective, recorded_ms, body };
}

function lateAfter(first: Entry, seq: number): Entry {
  const effective = parseInstant(new Date(first.effective.ms - MINUTE_MS / 2).toISOString());
  if (effective === undefined) throw new Error('half a minute earlier is no instant');
  const identifier = { system: first.body.identifier.system, value: 'late' };
  const body = { ...first.body, identifier, effective_at: effective.text };
  return { ...first, id: drainNameOf(identifier), seq, effective, body };
}

function parsedInOrder(all: readonly Incoming[]): unknown[] {
  const parsed = all.map(({ request }) => JSON.parse(request) as { readonly effective_at: string });
  return parsed.sort((a, b) => Date.parse(a.effective_at) - Date.parse(b.effective_at));
}

function decided(subject: Subject, entry: Entry) {
  const accepted = decide(subject, entry, BENCH_POLICY);
  if ('refused' in accepted) throw new Error(`${entry.id}: ${accepted.refused}`);
  return accepted;
}

interface GoingOn {
  readonly subject: Subject;
  readonly next: readonly Entry[];
}

/** Median time to decide on one more and take it into the books, µs; in turns, so that noise falls on both alike. */
function nextCosts(a: GoingOn, b: GoingOn): readonly [number, number] {
  const costs = a.next.map(
    (entry, n) => [timeOf(a.subject, entry), timeOf(b.subject, b.next[n] ?? entry)] as const,
  );
  return [median(costs.map(([ofA]) => ofA)), median(costs.map(([, ofB]) => ofB))];
}

function timeOf(subject: Subject, entry: Entry): number {
  const start = process.hrtime.bigint();
  enter(subject, decided(subject, entry), BENCH_POLICY);
  return Number(process.hrtime.bigint() - start) / 1000;
}

/** Median processor time of some runs, ms. */
function processorTime(work: () => unknown): number {
  return median(
    Array.from({ length: TIMES }, () => {
      const costUs = processorTimeFromNow();
      work();
      return costUs() / 1000;
    }),
  );
}
