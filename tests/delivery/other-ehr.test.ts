/** Delivery to a FHIR server that we did not write: ids of its choice, numbers in its own way. */
import type { Observation } from '@medplum/fhirtypes';
import { describe, expect, it } from 'vitest';
import { createFrameReader } from '../../src/store/sqlite/frames.ts';
import { incoming, ledgerForEach } from '../store/ledger.ts';
import { level, placed, setUp, type Told, voided } from '../support/drain-script.ts';
import { untilIdle } from './deliverer.ts';
import { otherEhrForEach } from './other-ehr.ts';

const PLACED = placed('08:00', { patient: { reference: 'Patient/p' } });
const STORY: readonly Told[] = [
  PLACED,
  setUp('08:00', 0),
  level('a', '09:00', 60),
  level('b', '10:00', '130.0'),
  { ...level('a-fixed', '10:30', 70), corrects: 'a', to: '09:00' } as Told,
  level('c', '11:00', 150),
  voided('c-void', 'c', '11:30'),
];

const ledger = ledgerForEach();
const ehr = otherEhrForEach();

async function tell(story: readonly Told[], placement = PLACED): Promise<void> {
  for (const told of story) await ledger.record([incoming(told, placement)]);
}

/** The newest text of each Observation that was ever issued. */
function current(): Map<string, Observation> {
  const textsIn = createFrameReader(ledger.db);
  const found = new Map<string, Observation>();
  for (const stored of ledger.db
    .prepare<[], string>('SELECT resources FROM issued ORDER BY log_index')
    .pluck()
    .iterate())
    for (const text of textsIn(stored)) {
      const observation = JSON.parse(text) as Observation;
      if (observation.resourceType === 'Observation')
        found.set(observation.identifier?.[0]?.value ?? '', observation);
    }
  return found;
}

const held = (): Promise<Observation[]> =>
  ehr.repository.searchResources<Observation>({ resourceType: 'Observation', count: 1000 });

/** What must be the same whatever ids the server gave. */
function essence({
  identifier,
  status,
  code,
  subject,
  value,
  issued,
  derivedFrom = [],
  hasMember = [],
  component,
}: Observation & { value?: unknown }) {
  return {
    identifier,
    status,
    code,
    subject,
    value,
    issued,
    component,
    links: derivedFrom.length + hasMember.length,
  };
}
const withValue = (each: Observation) => ({
  ...each,
  value: each.valueQuantity ?? each.valueCodeableConcept ?? each.dataAbsentReason,
});

describe('conditional create at a server of others', () => {
  it('ends with each fact once, in its current version, under ids of its choice', async () => {
    await tell(STORY);
    ehr.deliver(ledger.store, { mode: 'create' });
    expect(await untilIdle(ledger.store)).toEqual({ idle: 1 });
    const [there, expected] = [await held(), current()];
    expect(there).toHaveLength(expected.size);
    for (const each of there) {
      const ours = expected.get(each.identifier?.[0]?.value ?? '');
      if (ours === undefined) throw new Error(`${each.id} was never issued`);
      expect(essence(withValue(each))).toEqual(essence(withValue(ours)));
    }
    expect(there.filter(({ status }) => status === 'entered-in-error').length).toBeGreaterThan(0);
  });

  it('points references at what is there, under its ids', async () => {
    await tell(STORY.slice(0, 4));
    ehr.deliver(ledger.store, { mode: 'create' });
    await untilIdle(ledger.store);
    const there = await held();
    const ids = new Set(there.map(({ id }) => `Observation/${id}`));
    const references = there.flatMap(({ derivedFrom = [], hasMember = [] }) => [
      ...derivedFrom,
      ...hasMember,
    ]);
    expect(references.length).toBeGreaterThan(10);
    for (const { reference } of references) expect(ids).toContain(reference);
  });

  it('finds what it made before its answers were lost, and makes nothing twice', async () => {
    await tell(STORY.slice(0, 3));
    const first = ehr.deliver(ledger.store, { mode: 'create' });
    await untilIdle(ledger.store);
    await first.stop();
    const before = await held();
    // As after a kill between sending and settling.
    ledger.db.exec(
      `UPDATE taken SET resources = (SELECT json_group_object(key, json(value)) FROM json_each(resources)
         WHERE key LIKE '%opening-level%' OR key LIKE 'Device/%');
       UPDATE lane SET state = 'sending', attempts = 1, log_index = 2, cursor = 1, due_ms = 0`,
    );
    ehr.deliver(ledger.store, { mode: 'create' }, 200);
    await untilIdle(ledger.store);
    expect(await held()).toEqual(before);
    expect(ehr.requests.filter((each) => each === 'GET Observation').length).toBeGreaterThan(0);
  });

  it('makes anew, once somebody orders a replay, what a server lost that was set back to an older copy', async () => {
    await tell(STORY.slice(0, 4));
    ehr.deliver(ledger.store, { mode: 'create' });
    await untilIdle(ledger.store);
    ehr.repository.clear();
    for (const told of STORY.slice(4)) await ledger.record([incoming(told, PLACED)]);
    // Nobody ordered it: somebody there may have taken it away on purpose.
    expect(await untilIdle(ledger.store)).toMatchObject({ dead: expect.any(Number) });
    const [dead] = ledger.store.deliveries({ state: 'dead' }, null, 9);
    expect(dead?.outcome?.why).toMatch(/gone there; requeue makes it anew$/);
    const by = {
      author: { type: 'person', reference: 'Practitioner/op' },
      reason: 'set back',
      client: 'cli',
    } as const;
    await ledger.store.replay('ehr', null, { fromMs: 0, toMs: Date.now() + 1e10 }, by, Date.now());
    // Nothing stays set aside that is there by now.
    expect(await untilIdle(ledger.store)).toEqual({ idle: 1 });
    expect(await held()).toHaveLength(current().size);
  });

  it('sends a chosen few facts, and refers by identifier to those that it leaves out', async () => {
    await tell(STORY.slice(0, 4));
    ehr.deliver(ledger.store, { mode: 'create', facts: new Set(['net-drainage']) });
    await untilIdle(ledger.store);
    const there = await held();
    expect(there.map(({ identifier }) => identifier?.[0]?.value?.split('.')[0])).toEqual([
      'net-drainage',
      'net-drainage',
    ]);
    const references = there.flatMap(({ derivedFrom = [] }) => derivedFrom);
    expect(references.length).toBeGreaterThan(1);
    for (const each of references) {
      expect(each.reference).toBeUndefined();
      expect(each.identifier?.system).toBe('http://example.org/test/observation');
    }
  });

  it('looks a patient up who is charted by identifier, out of any URL; waits for one who is not known yet', async () => {
    const byNumber = placed('08:00', {
      patient: { identifier: { system: 'urn:example:mrn', value: '12-34' } },
    });
    await tell([byNumber, setUp('08:00', 0)], byNumber);
    ehr.deliver(ledger.store, { mode: 'create', patient: 'look-up' });
    await new Promise((resolve) => setTimeout(resolve, 200));
    expect(await held()).toEqual([]);
    const [waiting] = ledger.store.deliveries({ state: 'waiting' }, null, 9);
    expect(waiting?.outcome?.why ?? 'sending').toMatch(/knows no Patient|sending/);
    const patient = await ehr.repository.createResource({
      resourceType: 'Patient',
      identifier: [{ system: 'urn:example:mrn', value: '12-34' }],
    });
    await untilIdle(ledger.store);
    const [opening] = await held();
    expect(opening?.subject).toEqual({
      reference: `Patient/${patient.id}`,
      identifier: { system: 'urn:example:mrn', value: '12-34' },
    });
    expect(ehr.requests.join('\n')).not.toContain('12-34');
  });
});
