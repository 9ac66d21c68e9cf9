/** Puts the parts together: store, record, HTTP, delivery. */
import { fileURLToPath } from 'node:url';
import type { FastifyBaseLogger } from 'fastify';
import type { Config } from './config.ts';
import { readConfigurations, writeConfiguration } from './configuration/configuration-text.ts';
import { steadyClock } from './delivery/clock.ts';
import { type Deliverers, startAll } from './delivery/deliverers.ts';
import { ALWAYS, type Policy, phaseAt } from './domain/advisories/policy.ts';
import { epochMs } from './domain/numbers/units.ts';
import type { Calendar, Configuration, ConfigurationInForce } from './domain/vocabulary/configuration.ts';
import { DEFAULT_SETTINGS } from './domain/vocabulary/settings.ts';
import { openExports } from './export/bulk/exports.ts';
import { hl7v2Of, mllpOf } from './hl7v2-parts.ts';
import { buildApp } from './http/app.ts';
import type { Limits } from './http/limits.ts';
import { createPictures } from './plots/pictures.ts';
import { type Proof, proofOf, startProof, whyOnlyRead } from './proof.ts';
import { createAccesses } from './record/accesses.ts';
import { createRecordAct } from './record/device-acts.ts';
import type { RecordSettings } from './record/drain-issue.ts';
import { leftTargets } from './record/left-targets.ts';
import { createPolicy } from './record/policy.ts';
import { ALGORITHM } from './record/receipt.ts';
import { createPreview, createRecord } from './record/record.ts';
import { startSearchIndex } from './search/host.ts';
import type { Store } from './store/port.ts';
import { readOnly } from './store/read-only.ts';
import { openSqliteStore } from './store/sqlite/store.ts';

export interface Service {
  /** Where it listens. */
  readonly url: string;
  /** Where it listens for MLLP; null where it does not. */
  readonly mllpPort: number | null;
  /** Answers what has begun, settles what is being sent, closes the ledger. */
  stop(): Promise<void>;
}

export interface ServiceOptions {
  readonly config: Config;
  readonly logger: FastifyBaseLogger;
  onFatal(error: Error): void;
}

const MIGRATIONS = fileURLToPath(new URL('../migrations', import.meta.url));
const MOST_QUEUED = 10_000;

export async function startService({ config, logger, onFatal }: ServiceOptions): Promise<Service> {
  const chosen = configurationOf(config);
  const { access, canonical, origin } = config;
  // What is in force is in the store itself, and nobody asks it for books before it is configured.
  const opened = storeOf(config, () => policy, onFatal);
  const { store, proof, versions, writes } = await takeIntoUse(opened, chosen, config, logger).catch(
    (error) => closed(opened, error),
  );
  const policy = createPolicy(chosen.settings, versions);
  const { profiles, rules, calendar, terminology, hl7v2: mapping } = phaseAt(versions, epochMs(Infinity));
  const held = { store, proof, ...besideLedger(store, config, calendar, logger) };
  const deliverers = deliverTo(writes ? config : { ...config, targets: [] }, store, logger);
  const recording = recordingParts(store, { policy, canonical, origin, terminology });
  const hl7v2 = hl7v2Of({ store, mapping, profiles, record: recording.record });
  let url = '';
  let mllp: Awaited<ReturnType<typeof mllpOf>> = null;
  const app = buildApp({
    logger,
    access,
    limits: limitsOf(config),
    proxies: config.proxies,
    parts: {
      ...held,
      ...recording,
      profiles,
      rules,
      calendar,
      hl7v2,
      publicUrl: () => config.publicUrl ?? url,
      now: Date.now,
      delivery: deliverers,
      mllpConnections: () => mllp?.connections() ?? null,
    },
  });
  url = await app.listen({ host: config.host, port: config.port });
  mllp = await mllpOf(config.mllp, hl7v2, { ...held, log: logger });
  const running = { ...held, app, deliverers, mllp };
  return { url, mllpPort: mllp?.port ?? null, stop: () => stopInOrder(running) };
}

/** What is made of the ledger, or kept for it. */
const besideLedger = (
  store: Store,
  { database, canonical, exportsFolder: folder }: Config,
  { zone }: Calendar,
  log: FastifyBaseLogger,
) => ({
  search: startSearchIndex({ database, zone, canonical, log }),
  accesses: createAccesses({ store, log, now: Date.now }),
  exports: openExports({ database, folder, log, now: Date.now }),
  pictures: createPictures(),
});

/** Whoever is not known has no need to ask much. In development there is one client, and nobody to be kept from. */
const limitsOf = ({ access, requestsPerMinute }: Config): Limits | null =>
  access.isOpen ? null : { ofClient: requestsPerMinute, ofUnknown: Math.min(300, requestsPerMinute) };

/** What could not be taken into use is let go. */
async function closed(store: Store, error: unknown): Promise<never> {
  await store.close();
  throw error;
}

interface Standing {
  readonly store: Store;
  readonly proof: Proof;
  readonly versions: readonly ConfigurationInForce[];
  readonly writes: boolean;
}

/** Writes to the ledger where it holds all that others have seen of it; else only reads it. */
async function takeIntoUse(
  opened: Store,
  chosen: Configuration,
  config: Config,
  logger: FastifyBaseLogger,
): Promise<Standing> {
  const { origin, proof: proofConfig, targets } = config;
  const why = whyOnlyRead(opened, origin, proofConfig);
  if (why === null) {
    const versions = await configure(opened, chosen, logger);
    const proof = await startProof(opened, config, logger);
    await opened.noteServed(namesOf(targets), Date.now());
    for (const { target, depth } of leftTargets(opened, namesOf(targets)))
      logger.warn({ target, waiting: depth }, 'deliveries wait for a target that is no longer configured');
    return { store: opened, proof, versions, writes: true };
  }
  logger.error(
    { why },
    'the ledger is not what it was: it is only read until a person accepts it, or puts a better copy in its place',
  );
  const versions = readConfigurations(opened.configurations());
  return {
    store: readOnly(opened, why),
    proof: proofOf(opened, origin),
    versions: versions.length > 0 ? versions : [{ ...chosen, from: ALWAYS, version: '0' }],
    writes: false,
  };
}

const recordingParts = (store: Store, settings: RecordSettings) => ({
  record: createRecord(store, settings),
  recordAct: createRecordAct(store, settings),
  preview: createPreview(store, settings),
  policy: settings.policy,
  canonical: settings.canonical,
});

const namesOf = (targets: Config['targets']): string[] => targets.map(({ target }) => target.name);

const storeOf = (config: Config, policy: () => Policy, onFatal: ServiceOptions['onFatal']): Store =>
  openSqliteStore({
    file: config.database,
    migrationsFolder: MIGRATIONS,
    origin: config.origin,
    targets: namesOf(config.targets),
    policy,
    mostQueued: MOST_QUEUED,
    now: Date.now,
    onFatal,
  });

interface Running extends ReturnType<typeof besideLedger> {
  readonly mllp: Awaited<ReturnType<typeof mllpOf>>;
  readonly app: ReturnType<typeof buildApp>;
  readonly deliverers: Deliverers;
  readonly proof: Proof;
  readonly store: Store;
}

async function stopInOrder(running: Running): Promise<void> {
  const { mllp, app, accesses, deliverers, proof, search, exports, pictures, store } = running;
  await mllp?.stop();
  await app.close();
  await accesses.close();
  await deliverers.stop();
  await proof.stop();
  // Before the store, whose last checkpoint wants no readers.
  await search.close();
  await exports.close();
  await pictures.close();
  await store.close();
}

const configurationOf = ({ profiles, rules, hl7v2, calendar, terminology }: Config): Configuration => ({
  algorithm: ALGORITHM,
  settings: DEFAULT_SETTINGS,
  profiles,
  rules,
  calendar,
  terminology,
  ...(hl7v2 === null ? {} : { hl7v2 }),
});

/**
 * Records what was chosen before anything depends on it, and gives all versions as the ledger says them: what counts is
 * what is recorded.
 * @throws {Error} when it cannot be written, or a version of the past cannot be read
 */
async function configure(
  store: Store,
  chosen: Configuration,
  logger: FastifyBaseLogger,
): Promise<readonly ConfigurationInForce[]> {
  const { version, isNew } = await store.configure(writeConfiguration(chosen)).catch((cause: unknown) => {
    throw new Error(`the configuration cannot be written to the ledger: ${cause}`, { cause });
  });
  const { seq, recordedAt, hash } = version;
  if (isNew) logger.info({ version: seq, from: recordedAt, hash }, 'new version of the configuration');
  return readConfigurations(store.configurations());
}

const deliverTo = ({ targets, canonical }: Config, store: Store, log: FastifyBaseLogger): Deliverers =>
  startAll({ store, targets, canonical, log, clock: steadyClock(), env: process.env });
