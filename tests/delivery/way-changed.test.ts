/** The way to a target is changed under way: it keeps each fact once, under the name by which it has it. */
import type { FastifyInstance } from 'fastify';
import { afterEach, beforeEach, expect, it } from 'vitest';
import type { Deliverer } from '../../src/delivery/deliver.ts';
import type { Mode } from '../../src/delivery/target.ts';
import { createEhrStandIn } from '../../src/ehr-stand-in/server.ts';
import { incoming, ledgerForEach } from '../store/ledger.ts';
import { level, placed, setUp, type Told } from '../support/drain-script.ts';
import { deliverTo, untilIdle } from './deliverer.ts';

const PLACED = placed('08:00', { patient: { reference: 'Patient/p' } });
const BEFORE = [PLACED, setUp('08:00', 0), level('a', '09:00', 60)];
const AFTER = [
  level('b', '10:00', 130),
  { ...level('a-fixed', '10:30', 70), corrects: 'a', to: '09:00' } as Told,
];

const ledger = ledgerForEach();
let ehr: FastifyInstance;
let address: string;
let deliverer: Deliverer | undefined;
beforeEach(async () => {
  ehr = createEhrStandIn({});
  address = await ehr.listen({ host: '127.0.0.1', port: 0 });
});
afterEach(async () => {
  await deliverer?.stop();
  await ehr.close();
});

async function deliver(mode: Mode, story: readonly Told[]): Promise<void> {
  for (const told of story) await ledger.record([incoming(told, PLACED)]);
  deliverer = deliverTo(ledger.store, `${address}/fhir`, { mode });
  expect(await untilIdle(ledger.store)).toEqual({ idle: 1 });
  await deliverer.stop();
}

async function held(): Promise<{ identifiers: string[]; references: string[]; names: Set<string> }> {
  const all = await (await fetch(`${address}/fhir/Observation`)).json();
  const entries: { fullUrl: string; resource: Record<string, { value?: string; reference?: string }[]> }[] =
    all.entry;
  return {
    identifiers: entries.flatMap(({ resource }) => resource.identifier?.[0]?.value ?? []).sort(),
    references: entries.flatMap(({ resource }) =>
      (resource.derivedFrom ?? []).flatMap(({ reference }) => reference?.split('/_history')[0] ?? []),
    ),
    names: new Set(entries.map(({ fullUrl }) => fullUrl.split('/').slice(-2).join('/'))),
  };
}

it.each<[Mode, Mode]>([
  ['create', 'transaction'],
  ['create', 'batch'],
  ['create', 'put'],
  ['transaction', 'create'],
])('from %s to %s: nothing twice, and references to what is there', async (first, second) => {
  await deliver(first, BEFORE);
  await deliver(second, AFTER);
  const { identifiers, references, names } = await held();
  expect(identifiers).toEqual([...new Set(identifiers)]);
  expect(references.length).toBeGreaterThan(3);
  for (const reference of references) expect(names).toContain(reference);
});
