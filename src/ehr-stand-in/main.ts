import { parseArgs } from 'node:util';
import { createEhrStandIn } from './server.ts';

const { values } = parseArgs({
  options: { port: { type: 'string', default: '0' }, 'log-file': { type: 'string' } },
});
const logFile = values['log-file'];
const app = createEhrStandIn(logFile === undefined ? {} : { logFile });

process.once('SIGTERM', () => void app.close());
const address = await app.listen({ host: '127.0.0.1', port: Number(values.port) });
process.stdout.write(`${JSON.stringify({ listening: `${address}/fhir` })}\n`);
