/** Patients who are looked up at an EHR, over time: merged there, and asked for again. */
import { createServer, type Server } from 'node:http';
import { text } from 'node:stream/consumers';
import { afterEach, beforeEach, expect, it, vi } from 'vitest';
import type { Deliverer } from '../../src/delivery/deliver.ts';
import { incoming, ledgerForEach } from '../store/ledger.ts';
import { level, placed, setUp } from '../support/drain-script.ts';
import { addressOf, closed, listening } from '../support/local-server.ts';
import { deliverTo, untilIdle } from './deliverer.ts';

const MRN = { system: 'urn:example:mrn', value: '12-34' };
const PLACED = placed('08:00', { patient: { identifier: MRN } });
const BY = {
  author: { type: 'person', reference: 'Practitioner/op1' },
  reason: 'merged',
  client: 'cli',
} as const;

const ledger = ledgerForEach();
let server: Server;
let deliverer: Deliverer | undefined;
/** Who has the number at the EHR, as resources. */
let patients: object[];
/** Whom the EHR still takes Observations of. */
let open: string;
/** Whom what was taken is of. */
let taken: string[];
let searches: number;

beforeEach(async () => {
  [taken, searches] = [[], 0];
  server = createServer((request, response) => {
    void text(request).then((body) => {
      if (request.url?.endsWith('/_search')) {
        searches += 1;
        const entry = patients.map((resource) => ({ resource }));
        return response.end(JSON.stringify({ resourceType: 'Bundle', entry }));
      }
      const { subject } = JSON.parse(body) as { subject: { reference: string } };
      if (subject.reference !== open) return response.writeHead(422).end('{}');
      taken.push(subject.reference);
      return response.writeHead(201).end();
    });
  });
  await listening(server);
});
afterEach(async () => {
  await deliverer?.stop();
  await closed(server);
});

const patient = (id: string, more: object = {}) => ({
  resourceType: 'Patient',
  id,
  identifier: [MRN],
  ...more,
});

async function chart(...story: readonly Parameters<typeof incoming>[0][]): Promise<void> {
  for (const told of story) await ledger.record([incoming(told, PLACED)]);
}

const deliver = () => {
  const more = { mode: 'put', patient: 'look-up', types: new Set(['Observation']) } as const;
  deliverer = deliverTo(ledger.store, `${addressOf(server)}/fhir`, more);
};

it('one who was merged is looked up anew where somebody asks for a delivery again, not an hour later', async () => {
  patients = [patient('before')];
  open = 'Patient/before';
  await chart(PLACED, setUp('08:00', 0), level('a', '09:00', 10));
  deliver();
  await untilIdle(ledger.store);
  const before = taken.length;
  expect([before > 0, searches]).toEqual([true, 1]);
  patients = [patient('after')];
  open = 'Patient/after';
  await chart(level('b', '10:00', 20));
  expect(await untilIdle(ledger.store)).toMatchObject({ dead: 1 });
  expect(searches).toBe(1);
  await ledger.store.requeue({ target: 'ehr' }, BY, Date.now());
  await untilIdle(ledger.store);
  expect(new Set(taken.slice(before))).toEqual(new Set(['Patient/after']));
  expect(searches).toBe(2);
});

it('one who was replaced there by another (FHIR R4, Patient.link: replaced-by) waits for the other', async () => {
  const link = [{ other: { reference: 'Patient/after' }, type: 'replaced-by' }];
  patients = [patient('before', { active: false, link })];
  open = 'Patient/after';
  await chart(PLACED, setUp('08:00', 0));
  deliver();
  await vi.waitFor(() => {
    const [waiting] = ledger.store.deliveries({ state: 'waiting' }, null, 9);
    expect(waiting?.outcome?.why).toMatch(/knows no Patient .* not replaced/);
  });
  patients = [...patients, patient('after')];
  await untilIdle(ledger.store);
  expect(new Set(taken)).toEqual(new Set(['Patient/after']));
});
