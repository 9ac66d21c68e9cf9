/** What the EHR holds, as its own server says, and whether delivery has come to rest. */
import { setTimeout as sleep } from 'node:timers/promises';
import type { Observation } from 'fhir/r4.js';
import { getJson, getText } from './api.ts';
import { type Column, tableLines } from './table.ts';

/** Current resource texts by id. */
export type Texts = ReadonlyMap<string, string>;

export interface Received {
  readonly texts: Texts;
  /** How many versions of each id came. */
  readonly versions: ReadonlyMap<string, number>;
  readonly requests: number;
}

interface Ready {
  readonly deliveries: readonly { readonly state: string; readonly count: number }[];
}

const SETTLE_MS = 60_000;
const POLL_MS = 100;
const AT_ONCE = 16;
const OBSERVATION = 'Observation/';

/** Waits until nothing waits to be sent. @throws {Error} when the EHR refused something for good */
export async function deliverySettled(base: string): Promise<void> {
  const latest = Date.now() + SETTLE_MS;
  for (;;) {
    const { deliveries } = await getJson<Ready>(`${base}/readyz`);
    const of = (state: string) => deliveries.find((each) => each.state === state)?.count ?? 0;
    if (of('dead') > 0)
      throw new Error(
        `The EHR refused ${of('dead')} messages: run again with --keep-database DIR and see service.log there`,
      );
    if (of('waiting') + of('sending') === 0) return;
    if (Date.now() > latest) throw new Error(`Delivery has not settled within ${SETTLE_MS / 1000} s`);
    await sleep(POLL_MS);
  }
}

export async function readReceived(ehr: string): Promise<Received> {
  const received = await getJson<{ requests: number; versions: Record<string, number> }>(`${ehr}/_received`);
  const counts = Object.entries(received.versions).filter(([name]) => name.startsWith(OBSERVATION));
  const versions = new Map(counts.map(([name, count]) => [name.slice(OBSERVATION.length), count]));
  return {
    texts: await readTexts(`${ehr}/fhir`, [...versions.keys()]),
    versions,
    requests: received.requests,
  };
}

/** Current texts of Observations from a FHIR server, some at a time. */
export async function readTexts(fhir: string, ids: readonly string[]): Promise<Texts> {
  const texts = new Map<string, string>();
  const left = [...ids];
  const readSome = async () => {
    for (let id = left.pop(); id !== undefined; id = left.pop()) {
      texts.set(id, await getText(`${fhir}/Observation/${id}`));
    }
  };
  await Promise.all(Array.from({ length: AT_ONCE }, readSome));
  return texts;
}

const right = (heading: string, width: number): Column => ({ heading: [heading], width, align: 'right' });
const STATUSES = ['final', 'amended', 'corrected', 'entered-in-error'] as const;

/** Counts by fact and by status, and how many versions came after the first of each. */
export function receivedTable({ texts, versions }: Received): string[] {
  const byFact = new Map<string, number[]>();
  const total = [...STATUSES.map(() => 0), 0];
  for (const [id, text] of texts) {
    const { code, status } = JSON.parse(text) as Observation;
    const fact = code.text ?? id;
    const counts = byFact.get(fact) ?? [...STATUSES.map(() => 0), 0];
    byFact.set(fact, counts);
    for (const sums of [counts, total]) {
      STATUSES.forEach((each, i) => {
        if (each === status) sums[i] = (sums[i] ?? 0) + 1;
      });
      sums[STATUSES.length] = (sums[STATUSES.length] ?? 0) + (versions.get(id) ?? 1) - 1;
    }
  }
  const columns: Column[] = [
    { heading: ['Observation (current version)'], width: 44, align: 'left' },
    ...STATUSES.map((status) => right(status, status.length + 2)),
    right('re-issued', 10),
  ];
  const rows = [...byFact].sort(([a], [b]) => a.localeCompare(b, 'en', { numeric: true }));
  const cells = (counts: readonly number[]) => counts.map((count) => (count === 0 ? '.' : String(count)));
  return tableLines(columns, [
    ...rows.map(([fact, counts]) => [fact, ...cells(counts)]),
    ['All', ...cells(total)],
  ]);
}
