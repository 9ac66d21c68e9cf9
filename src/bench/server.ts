/**
 * The server under load, as a process of its own: validation only, or durable with `--database FILE`, which delivers to
 * the FHIR server that `--ehr URL` names and takes HL7 v2 by the files `--hl7v2` and `--mllp` (`--worker`: derived and written in a thread, and nothing is delivered).
 */

import { parseArgs } from 'node:util';
import { pino } from 'pino';
import { DEVELOPMENT } from '../auth/access-control.ts';
import { readConfig } from '../config.ts';
import { defaultProfiles } from '../configuration/profiles.ts';
import type { Exports } from '../export/bulk/exports.ts';
import { keepHeapSmall } from '../heap.ts';
import { buildApp } from '../http/app.ts';
import type { DeliveryControl } from '../http/parts.ts';
import { drainNameOf, type Record } from '../record/record.ts';
import { DEFAULT_TABLE } from '../rules/default-table.ts';
import type { SearchIndex } from '../search/port.ts';
import { startService } from '../service.ts';
import type { Store } from '../store/port.ts';
import { BENCH_POLICY } from './store.ts';
import { recordInWorker } from './writer-thread.ts';

const { values } = parseArgs({
  options: {
    database: { type: 'string' },
    worker: { type: 'boolean', default: false },
    ehr: { type: 'string' },
    hl7v2: { type: 'string' },
    mllp: { type: 'string' },
  },
});
keepHeapSmall();
const logger = pino({ level: 'silent' });
const url = await started(values.database, values.worker);
process.stdout.write(`${url}\n`);
process.on('SIGTERM', () => process.exit(0));

async function durable(database: string): Promise<string> {
  const config = readConfig({
    DRAINLEDGER_DATABASE: database,
    DRAINLEDGER_ORIGIN: 'bench.example',
    DRAINLEDGER_DEVELOPMENT: 'yes',
    DRAINLEDGER_PORT: '0',
    // Where none is named nothing listens: entries wait in their lanes, as in an outage.
    DRAINLEDGER_EHR_URL: values.ehr ?? 'http://127.0.0.1:9/fhir',
    ...(values.hl7v2 === undefined ? {} : { DRAINLEDGER_HL7V2: values.hl7v2 }),
    ...(values.mllp === undefined ? {} : { DRAINLEDGER_MLLP: values.mllp }),
  });
  return (await startService({ config, logger, onFatal: () => process.exit(70) })).url;
}

function started(database: string | undefined, inWorker: boolean): Promise<string> {
  if (database === undefined) return listening(nothing);
  return inWorker ? listening(recordInWorker(database)) : durable(database);
}

/** The same routes, schemas and answers, with nothing derived and nothing stored. */
function nothing(unit: Parameters<Record>[0]): ReturnType<Record> {
  return Promise.resolve(
    unit.map(({ body }) => ({
      kind: 'recorded' as const,
      receipt: JSON.stringify({
        drain: drainNameOf(body.identifier),
        sequence: 1,
        identifier: body.identifier,
      }),
    })),
  );
}

function listening(record: Record): Promise<string> {
  const parts = {
    record,
    preview: () => ({ kind: 'would-record' as const, receipt: '{}' }),
    recordAct: () => Promise.reject(new Error('devices are not measured')),
    store: { erasureOf: () => null } as Partial<Store> as Store,
    policy: BENCH_POLICY,
    search: {} as SearchIndex,
    exports: {} as Exports,
    pictures: { draw: () => Promise.reject(new Error('pictures are not measured')) },
    profiles: defaultProfiles(),
    rules: DEFAULT_TABLE,
    calendar: { zone: 'UTC', dayStart: 0, shiftStarts: [0] },
    accesses: { note: async () => {} },
    proof: { origin: 'bench.example', keys: () => [], sinks: () => [], witnesses: [] },
    canonical: 'http://example.org/drainledger',
    publicUrl: () => 'http://127.0.0.1',
    now: Date.now,
    delivery: {} as DeliveryControl,
    hl7v2: null,
    mllpConnections: () => null,
  };
  return buildApp({ parts, logger, access: DEVELOPMENT, limits: null, proxies: [] }).listen({
    host: '127.0.0.1',
    port: 0,
  });
}
