/** What the EHR holds, as its own server says, and whether delivery has come to rest. */
import { setTimeout as sleep } from 'node:timers/promises';
import type { Observation } from 'fhir/r4.js';
import { getJson, getText } from './api.ts';
import { type Column, tableLines } from './table.ts';

/** Current resource texts by type and id. */
export type Texts = ReadonlyMap<string, string>;

export interface Received {
  readonly texts: Texts;
  /** How many versions of each came. */
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
  const versions = new Map(Object.entries(received.versions));
  return {
    texts: await readTexts(`${ehr}/fhir`, [...versions.keys()]),
    versions,
    requests: received.requests,
  };
}

/** Current texts from a FHIR server, some at a time. */
export async function readTexts(fhir: string, names: readonly string[]): Promise<Texts> {
  const texts = new Map<string, string>();
  const left = [...names];
  const readSome = async () => {
    for (let name = left.pop(); name !== undefined; name = left.pop()) {
      texts.set(name, await getText(`${fhir}/${name}`));
    }
  };
  await Promise.all(Array.from({ length: AT_ONCE }, readSome));
  return texts;
}

const right = (heading: string, width: number): Column => ({ heading: [heading], width, align: 'right' });
const STATUSES = ['final', 'amended', 'corrected', 'entered-in-error'] as const;

/** Observations by fact and by status, and how many versions came after the first of each. */
export function receivedTable({ texts, versions }: Received): string[] {
  const byFact = new Map<string, number[]>();
  const total = [...STATUSES.map(() => 0), 0];
  for (const [name, text] of texts) {
    if (!name.startsWith(OBSERVATION)) continue;
    const { code, status } = JSON.parse(text) as Observation;
    const fact = code.text ?? name;
    const counts = byFact.get(fact) ?? [...STATUSES.map(() => 0), 0];
    byFact.set(fact, counts);
    for (const sums of [counts, total]) {
      STATUSES.forEach((each, i) => {
        if (each === status) sums[i] = (sums[i] ?? 0) + 1;
      });
      sums[STATUSES.length] = (sums[STATUSES.length] ?? 0) + (versions.get(name) ?? 1) - 1;
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

/** How many resources of each type came. */
export function typesReceived({ texts }: Received): string {
  const counts = new Map<string, number>();
  for (const name of texts.keys()) {
    const type = name.slice(0, name.indexOf('/'));
    counts.set(type, (counts.get(type) ?? 0) + 1);
  }
  return [...counts].map(([type, count]) => `${count} of type ${type}`).join(', ');
}
