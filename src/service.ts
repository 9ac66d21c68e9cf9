/** Puts the parts together: store, record, HTTP, delivery. */
import { fileURLToPath } from 'node:url';
import type { FastifyBaseLogger } from 'fastify';
import type { Config } from './config.ts';
import { type Deliverer, startDelivering } from './delivery/deliver.ts';
import { ALWAYS } from './domain/policy.ts';
import { DEFAULT_SETTINGS } from './domain/settings.ts';
import { buildApp } from './http/app.ts';
import { defaultProfiles, readProfiles } from './profiles.ts';
import { createPolicy } from './record/policy.ts';
import { createRecord } from './record/record.ts';
import { DEFAULT_TABLE } from './rules/default-table.ts';
import { readRules } from './rules.ts';
import { openSqliteStore } from './store/sqlite/store.ts';

export interface Service {
  /** Where it listens. */
  readonly url: string;
  /** Answers what has begun, settles what is being sent, closes the ledger. */
  stop(): Promise<void>;
}

export interface ServiceOptions {
  readonly config: Config;
  readonly logger: FastifyBaseLogger;
  onFatal(error: Error): void;
}

const MIGRATIONS = fileURLToPath(new URL('../migrations', import.meta.url));
const EHR = 'ehr';
const MOST_QUEUED = 10_000;

export async function startService({ config, logger, onFatal }: ServiceOptions): Promise<Service> {
  const profiles = config.profilesFile === undefined ? defaultProfiles() : readProfiles(config.profilesFile);
  const rules = config.rulesFile === undefined ? DEFAULT_TABLE : readRules(config.rulesFile);
  const policy = createPolicy(
    DEFAULT_SETTINGS,
    [{ from: ALWAYS, table: rules }],
    [{ from: ALWAYS, calendar: config.calendar }],
  );
  const store = openSqliteStore({
    file: config.database,
    migrationsFolder: MIGRATIONS,
    origin: config.origin,
    targets: config.ehr === null ? [] : [EHR],
    policy,
    mostQueued: MOST_QUEUED,
    now: Date.now,
    onFatal,
  });
  let url = `http://${config.host}:${config.port}`;
  const app = buildApp({
    logger,
    parts: {
      store,
      record: createRecord(store, { policy, canonical: config.canonical }),
      profiles,
      policy,
      rules,
      calendar: config.calendar,
      canonical: config.canonical,
      publicUrl: () => config.publicUrl ?? url,
      now: Date.now,
    },
  });
  url = await app.listen({ host: config.host, port: config.port });
  const deliverer = config.ehr === null ? null : deliverTo(config.ehr, store, logger);
  return {
    url,
    async stop() {
      await app.close();
      await deliverer?.stop();
      await store.close();
    },
  };
}

function deliverTo(
  ehr: NonNullable<Config['ehr']>,
  store: ReturnType<typeof openSqliteStore>,
  logger: FastifyBaseLogger,
): Deliverer {
  return startDelivering({
    store,
    target: { name: EHR, ...ehr, backoff: { baseMs: 500, capMs: 300_000 }, mostAtOnce: 8 },
    log: logger,
    pollMs: 100,
    now: Date.now,
    random: Math.random,
  });
}
