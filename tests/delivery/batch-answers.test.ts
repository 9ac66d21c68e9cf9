/** Answers to a batch that FHIR R4 does not allow (http.html#transaction-response: an entry for each, in the order of the request). */
import { createServer, type Server } from 'node:http';
import { afterEach, expect, it } from 'vitest';
import type { Deliverer } from '../../src/delivery/deliver.ts';
import { incoming, ledgerForEach } from '../store/ledger.ts';
import { level, placed, setUp } from '../support/drain-script.ts';
import { closed, listening } from '../support/local-server.ts';
import { deliverTo, untilIdle } from './deliverer.ts';

const PLACED = placed('08:00', { patient: { reference: 'Patient/p' } });
const ledger = ledgerForEach();
let server: Server | undefined;
let deliverer: Deliverer | undefined;
afterEach(async () => {
  await deliverer?.stop();
  if (server !== undefined) await closed(server);
});

interface Entry {
  readonly response: { readonly status: string; readonly location?: string; readonly outcome?: object };
}
const REFUSED: Entry = { response: { status: '422', outcome: { resourceType: 'OperationOutcome' } } };

it.each<[string, (entries: Entry[]) => Entry[]]>([
  ['fewer entries', (entries) => entries.slice(1)],
  ['entries in another order', (entries) => entries.reverse()],
])('%s: each is put alone, and only what is refused is set aside', async (_what, answer) => {
  server = createServer((request, response) => {
    let body = '';
    request.on('data', (chunk: Buffer) => {
      body += chunk.toString();
    });
    request.on('end', () => {
      const isBad = (text: string) => text.includes('"id":"net-drainage.');
      if (request.method === 'PUT') return void response.writeHead(isBad(body) ? 422 : 200).end();
      const { entry } = JSON.parse(body) as { entry: { resource: object; request: { url: string } }[] };
      const entries = entry.map(({ resource, request: { url } }) =>
        isBad(JSON.stringify(resource))
          ? REFUSED
          : { response: { status: '201', location: `${url}/_history/1` } },
      );
      response.writeHead(200).end(JSON.stringify({ resourceType: 'Bundle', entry: answer(entries) }));
    });
  });
  for (const told of [PLACED, setUp('08:00', 0), level('a', '09:00', 10)])
    await ledger.record([incoming(told, PLACED)]);
  deliverer = deliverTo(ledger.store, `${await listening(server)}/fhir`, { mode: 'batch' });
  expect(await untilIdle(ledger.store)).toEqual({ idle: 1, dead: 1 });
  const [dead] = ledger.store.deliveries({ state: 'dead' }, null, 9);
  expect(dead?.outcome?.resources).toEqual([expect.stringMatching(/^Observation\/net-drainage\./)]);
});
