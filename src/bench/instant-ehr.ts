/** An EHR that answers at once, as a process of its own: what is measured is the sender. Prints its base URL. */
import { createServer } from 'node:http';
import type { AddressInfo } from 'node:net';
import { parseArgs } from 'node:util';

const { values } = parseArgs({ options: { port: { type: 'string', default: '0' } } });
const ENTRY = '{"response":{"status":"201","etag":"W/\\"1\\""}}';
const CAPABILITY = JSON.stringify({
  resourceType: 'CapabilityStatement',
  fhirVersion: '4.0.1',
  rest: [
    {
      mode: 'server',
      interaction: [{ code: 'transaction' }],
      resource: [{ type: 'Observation', interaction: [{ code: 'update' }], updateCreate: true }],
    },
  ],
});

const server = createServer((request, response) => {
  const chunks: Buffer[] = [];
  request.on('data', (chunk: Buffer) => chunks.push(chunk));
  request.on('end', () => {
    const count = Buffer.concat(chunks).toString('latin1').split('"request":{').length - 1;
    const body =
      request.method === 'GET'
        ? CAPABILITY
        : `{"resourceType":"Bundle","type":"transaction-response","entry":[${Array(count).fill(ENTRY).join(',')}]}`;
    response.writeHead(200, { 'content-type': 'application/fhir+json' }).end(body);
  });
});
server.listen(Number(values.port), '127.0.0.1', () => {
  process.stdout.write(`http://127.0.0.1:${(server.address() as AddressInfo).port}/fhir\n`);
});
process.on('SIGTERM', () => process.exit(0));
