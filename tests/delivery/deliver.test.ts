/** The delivery loop against a real HTTP server that answers as it is told. */
import { createServer, type Server } from 'node:http';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import type { Deliverer } from '../../src/delivery/deliver.ts';
import { incoming, ledgerForEach } from '../store/ledger.ts';
import { level, placed, setUp, type Told } from '../support/drain-script.ts';
import { addressOf, closed, listening } from '../support/local-server.ts';
import { deliverTo, untilIdle } from './deliverer.ts';

type Answer =
  | { readonly status: number; readonly headers?: Record<string, string>; readonly body?: string }
  | 'reset';

const PLACED = placed('08:00', { patient: { reference: 'Patient/p' } });
const ledger = ledgerForEach();
let server: Server;
let deliverer: Deliverer | undefined;
let answers: Answer[];
let received: string[];
let paths: (string | undefined)[];
let underWay: number;
let mostUnderWay: number;

beforeEach(async () => {
  answers = [];
  received = [];
  paths = [];
  underWay = 0;
  mostUnderWay = 0;
  server = createServer((request, response) => {
    let body = '';
    request.on('data', (chunk: Buffer) => {
      body += chunk.toString();
    });
    request.on('end', () => {
      underWay += 1;
      mostUnderWay = Math.max(mostUnderWay, underWay);
      received.push(body);
      paths.push(request.url);
      const answer = answers.shift() ?? { status: 200 };
      setTimeout(() => {
        underWay -= 1;
        if (answer === 'reset') request.socket.destroy();
        else response.writeHead(answer.status, answer.headers).end(answer.body);
      }, 5);
    });
  });
  await listening(server);
});
afterEach(async () => {
  await deliverer?.stop();
  deliverer = undefined;
  await closed(server);
});

function deliver(ceilingMs?: number): void {
  const baseUrl = `${addressOf(server)}/fhir`;
  // Each entry in a Bundle of its own; what shares one has a test of its own.
  deliverer = deliverTo(ledger.store, baseUrl, { mostInBundle: 1 }, ceilingMs);
}

async function tell(story: readonly Told[], placement = PLACED): Promise<void> {
  for (const told of story) await ledger.record([incoming(told, placement)]);
}

interface Sent {
  readonly id: string;
  readonly valueQuantity?: { readonly value: number };
}

/** The readings that were sent, by the level they chart, in a Bundle or alone. */
const sentLevels = (): number[] =>
  received.flatMap((body) => {
    const sent = JSON.parse(body) as Sent & { readonly entry?: readonly { readonly resource: Sent }[] };
    const resources = sent.entry?.map(({ resource }) => resource) ?? [sent];
    return resources.flatMap(({ id, valueQuantity }) =>
      id.startsWith('level.') ? (valueQuantity?.value ?? []) : [],
    );
  });

const STORY = [
  PLACED,
  setUp('08:00', 0),
  level('a', '09:00', 10),
  level('b', '10:00', 20),
  level('c', '11:00', 30),
];

describe('delivery', () => {
  it('sends each issue once, in the order of the ledger, one at a time for a drain', async () => {
    await tell(STORY);
    deliver();
    expect(await untilIdle(ledger.store)).toEqual({ idle: 1 });
    expect(sentLevels()).toEqual([10, 20, 30]);
    expect(received).toHaveLength(4);
    expect(mostUnderWay).toBe(1);
  });

  it('sends again after a failure before it sends what follows', async () => {
    answers = [
      { status: 200 },
      { status: 503, headers: { 'retry-after': '0' } },
      'reset',
      { status: 502, body: '<html>' },
    ];
    await tell(STORY);
    deliver(1000);
    expect(await untilIdle(ledger.store)).toEqual({ idle: 1 });
    expect(sentLevels()).toEqual([10, 10, 10, 10, 20, 30]);
  });

  it('buries what is refused with the reason, and goes on with the drain and with others', async () => {
    const other: Told = { ...placed('08:00', { patient: { reference: 'Patient/q' } }), key: 'placed-2' };
    const body = '{"issue":[{"severity":"error","code":"invalid","diagnostics":"unit not known"}]}';
    // The transaction, then each of what it holds.
    answers = Array.from({ length: 1 + 3 }, () => ({ status: 422, body }));
    await tell(STORY);
    deliver();
    expect(await untilIdle(ledger.store)).toEqual({ idle: 1, dead: 1 });
    await tell(
      [other, { ...setUp('08:00', 0), key: 'set-up-2' }, { ...level('x', '09:00', 99), key: 'x' }],
      other,
    );
    expect(await untilIdle(ledger.store)).toEqual({ idle: 2, dead: 1 });
    expect(sentLevels().sort((a, b) => a - b)).toEqual([10, 20, 30, 99]);
    const [dead] = ledger.store.deliveries({ state: 'dead' }, null, 9);
    expect(dead?.outcome).toMatchObject({ why: 'HTTP 422: unit not known', status: 422 });
  });

  it('waits out the ceiling after an unknown outcome', async () => {
    answers = ['reset'];
    await tell(STORY.slice(0, 2));
    const start = Date.now();
    deliver(1000);
    await untilIdle(ledger.store);
    expect(received).toHaveLength(2);
    expect(Date.now() - start).toBeGreaterThanOrEqual(1000);
  });

  it('follows no redirect: what it sends is for the EHR it was told of', async () => {
    answers = [{ status: 307, headers: { location: '/elsewhere' } }];
    await tell(STORY.slice(0, 2));
    deliver();
    expect(await untilIdle(ledger.store)).toEqual({ idle: 1 });
    expect(paths).toEqual(['/fhir', '/fhir']);
  });

  it('never lets what is sent again overtake what is newer', async () => {
    const fix: Told = { ...level('b-fixed', '10:30', 25), corrects: 'b', to: '10:00' } as Told;
    const by = {
      author: { type: 'person', reference: 'Practitioner/n1' },
      reason: 'mended',
      client: 'c',
    } as const;
    answers = [{ status: 200 }, { status: 200 }, ...Array.from({ length: 30 }, () => ({ status: 422 }))];
    await tell([...STORY.slice(0, 4)]);
    deliver();
    expect(await untilIdle(ledger.store)).toEqual({ idle: 1, dead: 1 });
    answers = [];
    await tell([fix]);
    await untilIdle(ledger.store);
    received = [];
    await ledger.store.requeue({ target: 'ehr' }, by, Date.now());
    expect(await untilIdle(ledger.store)).toEqual({ idle: 1 });
    // The target took the corrected level already; what it refused of the first has not changed since.
    expect(sentLevels()).not.toContain(20);
    expect(received).toHaveLength(1);
  });

  it('gives up on what has failed for too long and too often, and goes on with the drain', async () => {
    answers = Array.from({ length: 12 }, () => ({ status: 503, headers: { 'retry-after': '0' } }));
    await tell(STORY.slice(0, 3));
    const baseUrl = `${addressOf(server)}/fhir`;
    deliverer = deliverTo(ledger.store, baseUrl, { giveUpMs: 0 });
    expect(await untilIdle(ledger.store)).toEqual({ idle: 1, dead: 1 });
    const [dead] = ledger.store.deliveries({ state: 'dead' }, null, 9);
    expect(dead).toMatchObject({
      attempts: 10,
      outcome: { why: 'given up after 10 attempts in 0 h: HTTP 503' },
    });
    expect(sentLevels()).toContain(10);
  });

  it('sends one by one what a transaction was refused for, so that only the bad one stays behind', async () => {
    const isBad = (body: string) => body.includes('"id":"net-drainage.');
    server.removeAllListeners('request');
    server.on('request', (request, response) => {
      let body = '';
      request.on('data', (chunk: Buffer) => {
        body += chunk.toString();
      });
      request.on('end', () => {
        paths.push(request.url);
        response.writeHead(isBad(body) ? 422 : 200).end();
      });
    });
    await tell(STORY.slice(0, 3));
    deliver();
    expect(await untilIdle(ledger.store)).toEqual({ idle: 1, dead: 1 });
    const [dead] = ledger.store.deliveries({ state: 'dead' }, null, 9);
    expect(dead?.outcome?.resources).toEqual([expect.stringMatching(/^Observation\/net-drainage\./)]);
    expect(paths.filter((path) => path?.startsWith('/fhir/Observation/level.'))).toHaveLength(1);
  });
});
