/** What one more entry costs a drain that has few, and one that has many: median time from call to durable. */

import { defaultProfiles } from '../configuration/profiles.ts';
import { readEntry, readPlacement } from '../intake/native/read-entry.ts';
import { parseExactJson } from '../json/exact-json.ts';
import type { Incoming } from '../record/incoming.ts';
import { createRecord, drainNameOf, type Record } from '../record/record.ts';
import { median } from './measure.ts';
import { type Message, placement, reading, setUp } from './messages.ts';
import { openBenchStore } from './store.ts';

const LAST = 10_000;
const SAMPLE = 200;
const PROFILES = defaultProfiles();

export interface Cost {
  readonly 'µs at the 1,000th': number;
  readonly 'µs at the 10,000th': number;
  readonly ratio: number;
}

export async function costPerEntry(file: string): Promise<Cost> {
  const { store, record } = openBenchStore(file, createRecord);
  const drain = await placeDrain(record, 'cost', 0);
  const times: number[] = [];
  for (let n = 1; n <= LAST + SAMPLE; n += 1) {
    const next = incoming(drain, reading('cost', 0, drain, n));
    const start = process.hrtime.bigint();
    const [outcome] = await record([next]);
    times.push(Number(process.hrtime.bigint() - start) / 1000);
    if (outcome?.kind !== 'recorded') throw new Error(`reading ${n}: ${JSON.stringify(outcome)}`);
  }
  await store.close();
  // The first entries run cold code, which a running service does not.
  const early = median(times.slice(1000, 1000 + SAMPLE));
  const late = median(times.slice(-SAMPLE));
  return {
    'µs at the 1,000th': Math.round(early),
    'µs at the 10,000th': Math.round(late),
    ratio: Number((late / early).toFixed(2)),
  };
}

export function incoming(drain: string, { body }: Message, profiles = PROFILES): Incoming {
  const sent = parseExactJson(body);
  const read = drain === '' ? readPlacement(sent) : readEntry(sent, profiles);
  if ('faults' in read) throw new Error(JSON.stringify(read.faults));
  return { drain, body: read.body, request: body };
}

/** Places the nth drain of a run and sets its unit up. @returns its name, the same in every ledger */
export async function placeDrain(record: Record, run: string, n: number): Promise<string> {
  const placed = incoming('', placement(run, n));
  const drain = drainNameOf(placed.body.identifier);
  await record([{ ...placed, drain }]);
  await record([incoming(drain, setUp(run, n, drain))]);
  return drain;
}
