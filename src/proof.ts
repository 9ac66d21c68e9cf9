/** What makes the history provable, put together: whether it is whole, who signs it, and where that is told. */
import type { KeyObject } from 'node:crypto';
import { readFileSync } from 'node:fs';
import {
  originOf,
  rawPublicKey,
  readCheckpoint,
  type VerifierKey,
  writeVerifierKey,
} from './audit/checkpoint.ts';
import { readWitnessKey } from './audit/cosignature.ts';
import { keysInUse, readKeys, restoresOf, writeFirstKey } from './audit/notices.ts';
import { type Doubt, doubtsOf, type KeptHead } from './audit/standing.ts';
import type { LedgerConfig, ProofConfig } from './configuration/ledger.ts';
import { tokenFromFile } from './delivery/auth/authorizer.ts';
import { startCheckpointing } from './escrow/checkpointing.ts';
import { readEscrowFile } from './escrow/escrow-file.ts';
import { readHeadFile } from './escrow/head-file.ts';
import { startHeartbeats } from './escrow/heartbeat.ts';
import { type FeedLog, fileSink, headSink, httpSink, type SinkState } from './escrow/sinks.ts';
import type { Store } from './store/port.ts';

/** Heads of the log that are kept outside its tree, newest of each place. */
function keptHeads({ log }: Pick<Store, 'log'>, { headFile, escrowFile }: ProofConfig): KeptHead[] {
  const signed = log.newestCheckpoint();
  const note = signed === undefined ? undefined : readCheckpoint(signed);
  const own = note && { where: 'the newest checkpoint in the database', note };
  const outside = [
    headFile === undefined ? undefined : readHeadFile(headFile),
    escrowFile === undefined ? undefined : readEscrowFile(escrowFile),
  ];
  return [own, ...outside].filter((head) => head !== undefined);
}

/** What of that the log does not continue. @param name of the log */
export function standingOf(store: Pick<Store, 'log'>, name: string, config: ProofConfig): readonly Doubt[] {
  const restores = restoresOf(store.log.notices()).length;
  return doubtsOf({ name, restores, ...store.log }, keptHeads(store, config));
}

/** A damaged end is found before anything is written on top of it; all of it is looked at by `verify`. */
const NEWEST = 1000;

/** What is wrong with the newest entries, in words; null where nothing is. */
export function damageOf({ log }: Pick<Store, 'log'>): string | null {
  const fault = log.newestFault(NEWEST);
  return fault && `it is damaged, or somebody changed it: ${fault}`;
}

/** Why the ledger is only read and what mends that, in sentences; null where it may be written to. */
export function whyOnlyRead(store: Pick<Store, 'log'>, name: string, config: ProofConfig): string | null {
  const damage = damageOf(store);
  if (damage !== null)
    return `${damage}. Put a copy of the database in its place that 'cli verify' finds whole.`;
  const doubts = standingOf(store, name, config).map(({ why }) => why);
  return doubts.length === 0
    ? null
    : `${doubts.join('; ')}. Find the newest copy of the database, or accept this one with 'cli ledger accept-restored'.`;
}

export interface Proof {
  /** Name that checkpoints carry. */
  readonly origin: string;
  /** C2SP verifier keys, oldest first. */
  keys(): readonly string[];
  sinks(): readonly SinkState[];
  /** Whose word on checkpoints is kept. */
  readonly witnesses: readonly VerifierKey[];
  stop(): Promise<void>;
}

/** @throws {Error} naming the line of the file that is no public key of a witness */
export function readWitnesses(file: string): readonly VerifierKey[] {
  const lines = readFileSync(file, 'utf8').split('\n');
  return lines.flatMap((line, at) => {
    if (line.trim() === '') return [];
    const key = readWitnessKey(line);
    if (key !== undefined) return [key];
    throw new Error(
      `${file}:${at + 1} is no public key of a witness: give what 'witness.mjs new' printed, one a line`,
    );
  });
}

export interface ProofLog extends FeedLog {
  warn(facts: object, message: string): void;
}

/** @throws {Error} where the file cannot be read now, which whoever starts the service can mend */
function tokenOf({ escrowTokenFile: file }: ProofConfig): (() => string) | undefined {
  if (file === undefined) return undefined;
  const token = tokenFromFile(file);
  token();
  return token;
}

/** Who signs the log, and whose word of it is kept. */
export interface Vouching {
  /** Null: nothing is signed. */
  readonly checkpointKey: KeyObject | null;
  /** Public keys of witnesses. */
  readonly witnesses: readonly VerifierKey[];
}

/**
 * Starts signing and telling.
 * @throws {Error} where the token cannot be read, or the key is not the one that the log names
 */
export async function startProof(
  store: Store,
  {
    origin: name,
    proof: config,
    checkpointKey: key,
    witnesses,
  }: Pick<LedgerConfig, 'origin' | 'proof'> & Vouching,
  log: ProofLog,
): Promise<Proof> {
  await admitKey(store, name, key, log);
  const { origin, keys } = proofOf(store, name);
  const { headFile, escrowFile, escrowUrl } = config;
  const checkpointing = startCheckpointing({
    store,
    origin,
    key,
    sinks: [
      ...(headFile === undefined ? [] : [headSink(headFile)]),
      ...(escrowFile === undefined ? [] : [fileSink(escrowFile, Date.now)]),
      ...(escrowUrl === undefined ? [] : [httpSink(escrowUrl, tokenOf(config))]),
    ],
    log,
    now: Date.now,
  });
  // What nobody signs proves nothing of a silence either.
  const heartbeats = key === null ? null : startHeartbeats({ store, log, now: Date.now });
  return {
    origin,
    keys,
    sinks: checkpointing.sinks,
    witnesses,
    stop() {
      heartbeats?.stop();
      return checkpointing.stop();
    },
  };
}

/** Of a log that is only read: it has a name and keys, and nothing is signed. */
export function proofOf(store: Pick<Store, 'log'>, name: string): Proof {
  const origin = originOf(name, restoresOf(store.log.notices()).length);
  return {
    origin,
    keys: () =>
      keysInUse(readKeys(name, store.log.notices())).map(({ key }) => writeVerifierKey(origin, key)),
    sinks: () => [],
    witnesses: [],
    stop: () => Promise.resolve(),
  };
}

async function admitKey(store: Store, name: string, key: KeyObject | null, log: ProofLog): Promise<void> {
  const last = readKeys(name, store.log.notices()).at(-1)?.key;
  if (key === null) {
    const without =
      'no checkpoint key is configured: a rewritten history could not be told from the true one';
    log.warn({ signedBefore: last !== undefined }, without);
    return;
  }
  const own = rawPublicKey(key);
  if (last === undefined) {
    await store.notice({ type: 'checkpoint-key', actor: { type: 'service' }, body: writeFirstKey(own) });
    log.info({ key: writeVerifierKey(name, own) }, 'the log names the key that signs it');
  } else if (!last.equals(own)) {
    throw new Error(
      `the log is signed with the key ${writeVerifierKey(name, last)}, and the configured one is ` +
        `${writeVerifierKey(name, own)}: hand it over first with 'cli checkpoint-key rotate OLD NEW', or where the old one is lost ` +
        "name the new one with 'cli checkpoint-key replace NEW'",
    );
  }
}
