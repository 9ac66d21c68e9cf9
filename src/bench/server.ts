/** The server under load, as a process of its own: `--storage sqlite FILE` or `--storage none` (validation only). */
import { parseArgs } from 'node:util';
import { pino } from 'pino';
import { readConfig } from '../config.ts';
import { DEFAULT_SETTINGS } from '../domain/settings.ts';
import { buildApp } from '../http/app.ts';
import { defaultProfiles } from '../profiles.ts';
import { drainNameOf, type Record } from '../record/record.ts';
import { startService } from '../service.ts';
import type { Store } from '../store/port.ts';

const { values } = parseArgs({ options: { database: { type: 'string' }, ehr: { type: 'string' } } });
const logger = pino({ level: 'silent' });
const url = values.database === undefined ? await validationOnly() : await durable(values.database);
process.stdout.write(`${url}\n`);
process.on('SIGTERM', () => process.exit(0));

async function durable(database: string): Promise<string> {
  const config = readConfig({
    DRAINLEDGER_DATABASE: database,
    DRAINLEDGER_ORIGIN: 'bench.example',
    DRAINLEDGER_PORT: '0',
    DRAINLEDGER_EHR_URL: values.ehr ?? 'http://127.0.0.1:9/fhir',
  });
  return (await startService({ config, logger, onFatal: () => process.exit(70) })).url;
}

/** The same routes, schemas and answers, with nothing derived and nothing stored. */
async function validationOnly(): Promise<string> {
  const record: Record = (unit) =>
    Promise.resolve(
      unit.map(({ body }) => ({
        kind: 'recorded' as const,
        receipt: JSON.stringify({
          drain: drainNameOf(body.identifier),
          sequence: 1,
          identifier: body.identifier,
        }),
      })),
    );
  const parts = {
    record,
    store: {} as Store,
    profiles: defaultProfiles(),
    settings: DEFAULT_SETTINGS,
    canonical: 'http://example.org/drainledger',
    publicUrl: () => 'http://127.0.0.1',
    now: Date.now,
  };
  return buildApp({ parts, logger }).listen({ host: '127.0.0.1', port: 0 });
}
