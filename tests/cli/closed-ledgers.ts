/** A copy of the ledger of closed drains for each test of a file, and the command line that works on it. */
import { type SpawnSyncReturns, spawnSync } from 'node:child_process';
import { copyFileSync, existsSync, mkdirSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, beforeAll, beforeEach } from 'vitest';
import { LOG, makeClosedDrains } from './closed-drains.ts';

export const CLI = fileURLToPath(new URL('../../dist/cli/main.js', import.meta.url));

export interface ClosedLedger {
  /** The ledger that all are copies of. */
  readonly good: string;
  /** Of the test that runs: it holds the database, and what lies beside it. */
  readonly folder: string;
  readonly database: string;
  environment(more?: NodeJS.ProcessEnv): NodeJS.ProcessEnv;
  /** Runs the command line to its end. */
  run(args: readonly string[], more?: NodeJS.ProcessEnv): SpawnSyncReturns<string>;
}

export function closedLedgerForEach(): ClosedLedger {
  const root = mkdtempSync(join(tmpdir(), 'closed-ledgers-'));
  const good = join(root, 'good.db');
  let [runs, folder] = [0, ''];
  beforeAll(async () => {
    if (!existsSync(CLI)) throw new Error(`${CLI} is missing: npm run build`);
    await makeClosedDrains(good);
  });
  beforeEach(() => {
    runs += 1;
    folder = join(root, String(runs));
    mkdirSync(folder);
    copyFileSync(good, join(folder, 'ledger.db'));
  });
  afterAll(() => rmSync(root, { recursive: true }));
  const ledger: ClosedLedger = {
    good,
    get folder() {
      return folder;
    },
    get database() {
      return join(folder, 'ledger.db');
    },
    environment: (more = {}) => ({
      PATH: process.env.PATH,
      DRAINLEDGER_ORIGIN: LOG,
      DRAINLEDGER_DATABASE: ledger.database,
      ...more,
    }),
    run: (args, more) =>
      spawnSync(process.execPath, [CLI, ...args], { env: ledger.environment(more), encoding: 'utf8' }),
  };
  return ledger;
}
