/**
 * A ledger of many readings, quickly: entries as they are charted, with nothing derived or issued from them. The books
 * that the store has of them meanwhile are empty, so what is kept beside the ledger when they leave is of no use.
 */
import { writeBody } from '../audit/entry-text.ts';
import { patientKey } from '../domain/fold/drain.ts';
import type { Incoming } from '../record/incoming.ts';
import { createRecord, drainNameOf } from '../record/record.ts';
import type { AppendRequest, Store, Write } from '../store/port.ts';
import { incoming } from './cost-per-entry.ts';
import { placement, reading, setUp } from './messages.ts';
import { openBenchStore } from './store.ts';

const RUN = 'large';
const AT_ONCE = 1000;

/** Drains with so many readings each, one drain after another. */
export async function fillLargeLedger(file: string, readings: number, drains: number): Promise<void> {
  const { store } = openBenchStore(file, createRecord);
  const each = Math.ceil(readings / drains);
  for (let n = 0; n < drains; n += 1) {
    const placed = incoming('', placement(RUN, n));
    const drain = drainNameOf(placed.body.identifier);
    const rest = Array.from({ length: each }, (_, i) => incoming(drain, reading(RUN, n, drain, i + 1)));
    await appendAll(store, drain, [placed, incoming(drain, setUp(RUN, n, drain)), ...rest]);
  }
  await store.close();
}

async function appendAll(store: Store, drain: string, all: readonly Incoming[]): Promise<void> {
  for (let from = 0; from < all.length; from += AT_ONCE) {
    const some = all.slice(from, from + AT_ONCE);
    const outcomes = await Promise.all(some.map((each) => store.append([requestOf(drain, each)])));
    if (outcomes.flat().some(({ kind }) => kind !== 'recorded')) throw new Error('not all were recorded');
  }
}

const requestOf = (drain: string, { body }: Incoming): AppendRequest => ({
  entryId: drainNameOf(body.identifier),
  identifier: body.identifier,
  requestHash: '',
  isAnswer: () => false,
  drain,
  linksPatient: null,
  decide: () => writeOf(body),
});

const writeOf = (body: Incoming['body']): Write => ({
  type: body.kind,
  actor: body.author,
  effectiveAt: body.effective_at,
  supersedes: null,
  body: writeBody(body),
  receipt: '{}',
  issues: [],
  relinked: body.kind === 'placed' ? { patientKey: patientKey(body.patient) } : null,
  linked: body.kind === 'placed' ? { patient: JSON.stringify(body.patient) } : null,
  enter: () => undefined,
});
