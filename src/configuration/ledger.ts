/** The ledger and what vouches for it, from the environment: all that the command line needs to know of it. */
import { z } from 'zod';
import { isLoopback } from '../auth/loopback.ts';
import { inWords } from './json-file.ts';

export const url = z
  .url({ protocol: /^https?$/, error: 'is no http(s) URL' })
  .transform((text) => text.replace(/\/+$/, ''));
export const path = z.string().min(1).optional();

export const ledgerSettings = {
  DRAINLEDGER_DATABASE: z.string({ error: 'is missing: send the path of the SQLite file' }).min(1),
  DRAINLEDGER_ORIGIN: z
    .string({ error: 'is missing: name this log for ever, such as drains.ward.example' })
    .regex(/^[A-Za-z0-9.\-/]{3,100}$/, { error: 'is no name: 3 to 100 of A-Z a-z 0-9 . - /' }),
  DRAINLEDGER_CHECKPOINT_KEY: path,
  DRAINLEDGER_HEAD_FILE: path,
  DRAINLEDGER_ESCROW_FILE: path,
  DRAINLEDGER_ESCROW_URL: url.optional(),
  DRAINLEDGER_ESCROW_TOKEN_FILE: path,
  DRAINLEDGER_WITNESSES: path,
};

const ledger = z.object(ledgerSettings);

export interface ProofConfig {
  readonly headFile: string | undefined;
  readonly escrowFile: string | undefined;
  readonly escrowUrl: string | undefined;
  /** Of the bearer token that is shown there. */
  readonly escrowTokenFile: string | undefined;
}

/** The ledger and what vouches for it: all that the command line needs to know of the environment. */
export interface LedgerConfig {
  readonly database: string;
  readonly origin: string;
  readonly proof: ProofConfig;
}

/** Folder of bulk exports. @param chosen DRAINLEDGER_EXPORTS */
export const exportsFolderOf = (database: string, chosen: string | undefined): string =>
  chosen ?? `${database}.exports`;

/** Everything that is wrong with the environment, a line each. */
export class ConfigError extends Error {}

export type Environment = Readonly<Record<string, string | undefined>>;

/** A token goes over no network in the clear. */
export function tokenFaults(env: Environment): readonly string[] {
  const { DRAINLEDGER_ESCROW_TOKEN_FILE: file, DRAINLEDGER_ESCROW_URL: to = '' } = env;
  if (file === undefined || !URL.canParse(to)) return [];
  const { protocol, hostname } = new URL(to);
  return protocol === 'https:' || isLoopback(hostname)
    ? []
    : ['DRAINLEDGER_ESCROW_URL must be https: the token would go over the network in the clear'];
}

/** @throws {ConfigError} listing all faults of these settings */
export function readLedgerConfig(env: Environment): LedgerConfig {
  const parsed = ledger.safeParse(env, { error: inWords });
  if (!parsed.success) throw new ConfigError(issueTexts(parsed.error, env).join('\n'));
  return ledgerOf(parsed.data);
}

/** With what was set, but for URLs, which may hold a password. */
export const issueTexts = (error: z.ZodError | undefined, env: Environment): string[] =>
  (error?.issues ?? []).map(({ path, message }) => {
    const name = path.join('.');
    const isShown = env[name] !== undefined && !name.endsWith('_URL');
    return `${name} ${isShown ? `'${env[name]}' ` : ''}${message}`;
  });

export const ledgerOf = (e: z.infer<typeof ledger>): LedgerConfig => ({
  database: e.DRAINLEDGER_DATABASE,
  origin: e.DRAINLEDGER_ORIGIN,
  proof: {
    headFile: e.DRAINLEDGER_HEAD_FILE,
    escrowFile: e.DRAINLEDGER_ESCROW_FILE,
    escrowUrl: e.DRAINLEDGER_ESCROW_URL,
    escrowTokenFile: e.DRAINLEDGER_ESCROW_TOKEN_FILE,
  },
});
