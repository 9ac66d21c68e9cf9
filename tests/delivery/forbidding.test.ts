/** What 403 of a target concerns: one patient there, or all that is sent (FHIR R4 http.html and RFC 9110, 15.5.4, leave it open). */
import { createServer, type Server } from 'node:http';
import { afterEach, beforeEach, expect, it } from 'vitest';
import type { Deliverer } from '../../src/delivery/deliver.ts';
import { incoming, ledgerForEach } from '../store/ledger.ts';
import { level, placed, setUp, type Told } from '../support/drain-script.ts';
import { closed, listening } from '../support/local-server.ts';
import { deliverTo, untilIdle } from './deliverer.ts';

const ledger = ledgerForEach();
let server: Server;
let deliverer: Deliverer;
let forbidden: RegExp;
let asked: number;

beforeEach(async () => {
  forbidden = /^never/;
  asked = 0;
  server = createServer((request, response) => {
    let body = '';
    request.on('data', (chunk: Buffer) => {
      body += chunk.toString();
    });
    request.on('end', () => {
      asked += 1;
      response.writeHead(forbidden.test(body) ? 403 : 200).end();
    });
  });
  deliverer = deliverTo(ledger.store, `${await listening(server)}/fhir`);
});
afterEach(async () => {
  await deliverer.stop();
  await closed(server);
});

/** A drain of this patient, with a reading. */
async function chart(patient: string): Promise<void> {
  const place: Told = { ...placed('08:00', { patient: { reference: `Patient/${patient}` } }), key: patient };
  const reading = { ...level('a', '09:00', 10), key: `a-${patient}` };
  for (const told of [place, { ...setUp('08:00', 0), key: `set-up-${patient}` }, reading])
    await ledger.record([incoming(told, place)]);
}

it('is set aside with what to do where others are taken, and holds nobody else up', async () => {
  await chart('open');
  expect(await untilIdle(ledger.store)).toEqual({ idle: 1 });
  forbidden = /Patient\/closed"/;
  await chart('closed');
  // What is forbidden waits for others to be taken.
  for (const other of ['b', 'c', 'd', 'e']) {
    await chart(other);
    await new Promise((resolve) => setTimeout(resolve, 150));
  }
  expect(await untilIdle(ledger.store)).toEqual({ idle: 6, dead: 2 });
  expect(deliverer.breaker.isParked).toBe(false);
  const [dead] = ledger.store.deliveries({ state: 'dead' }, null, 9);
  expect(dead?.outcome).toEqual({
    status: 403,
    why: 'HTTP 403, while others are taken: mend there who may write this, then requeue it',
  });
  forbidden = /^never/;
  const by = {
    author: { type: 'person', reference: 'Practitioner/op' },
    reason: 'mended',
    client: 'cli',
  } as const;
  await ledger.store.requeue({ target: 'ehr' }, by, Date.now());
  expect(await untilIdle(ledger.store)).toEqual({ idle: 6 });
});

it('waits, and is asked ever more seldom, while nothing else is to be sent', async () => {
  await chart('open');
  await untilIdle(ledger.store);
  forbidden = /Patient\/closed"/;
  await chart('closed');
  const before = asked;
  await new Promise((resolve) => setTimeout(resolve, 200));
  expect(deliverer.breaker.isParked).toBe(false);
  expect(asked - before).toBeLessThan(40);
  expect(ledger.store.deliveries({ state: 'dead' }, null, 9)).toEqual([]);
});

it('parks the target where two drains in a row are forbidden', async () => {
  await chart('open');
  await untilIdle(ledger.store);
  forbidden = /Observation/;
  await chart('one');
  await chart('two');
  for (let n = 0; n < 500 && !deliverer.breaker.isParked; n += 1)
    await new Promise((resolve) => setTimeout(resolve, 10));
  expect(deliverer.breaker.isParked).toBe(true);
  expect(ledger.store.deliveries({ state: 'dead' }, null, 9)).toEqual([]);
});
