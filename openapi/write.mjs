// Writes openapi/openapi.json and openapi/fhir/ from the built service, by asking it. Run as: npm run openapi
import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { pino } from 'pino';
import { readConfig } from '../dist/config.js';
import { startService } from '../dist/service.js';

const target = fileURLToPath(new URL('.', import.meta.url));
const folder = mkdtempSync(join(tmpdir(), 'openapi-'));
try {
  const service = await startService({
    config: readConfig({
      DRAINLEDGER_DATABASE: join(folder, 'ledger.db'),
      DRAINLEDGER_ORIGIN: 'reference.example',
      DRAINLEDGER_DEVELOPMENT: 'yes',
      DRAINLEDGER_PORT: '0',
    }),
    logger: pino({ level: 'silent' }),
    onFatal(error) {
      throw error;
    },
  });
  try {
    const answer = await fetch(`${service.url}/openapi.json`);
    mkdirSync(target, { recursive: true });
    writeFileSync(join(target, 'openapi.json'), await answer.text());
    rmSync(join(target, 'fhir'), { recursive: true, force: true });
    mkdirSync(join(target, 'fhir'));
    for (const type of ['CodeSystem', 'ValueSet', 'StructureDefinition']) {
      const bundle = await (await fetch(`${service.url}/fhir/${type}?_count=1000`)).json();
      for (const { resource } of bundle.entry)
        writeFileSync(
          join(target, 'fhir', `${type}-${resource.id}.json`),
          `${JSON.stringify(resource, null, 2)}\n`,
        );
    }
  } finally {
    await service.stop();
  }
} finally {
  rmSync(folder, { recursive: true });
}
