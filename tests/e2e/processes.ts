/** The service and the EHR stand-in as real processes, for tests that kill them. */
import { type ChildProcess, spawn } from 'node:child_process';
import { existsSync } from 'node:fs';
import { createServer } from 'node:net';
import { fileURLToPath } from 'node:url';
import { makeKeyFile } from '../../src/audit/key-file.ts';

const dist = (path: string): string => fileURLToPath(new URL(`../../dist/${path}`, import.meta.url));

export async function freePort(): Promise<number> {
  const server = createServer();
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
  const address = server.address();
  await new Promise<void>((resolve) => server.close(() => resolve()));
  if (address === null || typeof address === 'string') throw new Error('no port');
  return address.port;
}

export interface Process {
  readonly child: ChildProcess;
  /** Ends it with a signal and waits until it is gone; the exit code, or null after a kill. */
  end(signal: NodeJS.Signals): Promise<number | null>;
}

const started = new Set<ChildProcess>();

/** Kills whatever a test that failed half-way left running. */
export function killAll(): void {
  for (const child of started) child.kill('SIGKILL');
}

function start(script: string, args: readonly string[], env: NodeJS.ProcessEnv): Process {
  const child = spawn(process.execPath, [dist(script), ...args], {
    env,
    stdio: ['ignore', 'ignore', 'inherit'],
  });
  started.add(child);
  const gone = new Promise<number | null>((resolve) => child.once('exit', (code) => resolve(code)));
  return {
    child,
    end(signal) {
      child.kill(signal);
      return gone;
    },
  };
}

export async function startStandIn(port: number, logFile: string): Promise<Process> {
  const running = start('ehr-stand-in/main.js', ['--port', String(port), '--log-file', logFile], process.env);
  await answers(`http://127.0.0.1:${port}/fhir/metadata`);
  return running;
}

/** Its ledger is signed, and told to files beside the database. */
export function startService(port: number, database: string, ehrPort: number): Promise<Process> {
  if (!existsSync(`${database}.key`)) makeKeyFile(`${database}.key`);
  return startServiceWith(port, database, {
    DRAINLEDGER_EHR_URL: `http://127.0.0.1:${ehrPort}/fhir`,
    DRAINLEDGER_EHR_CEILING_S: '1',
    DRAINLEDGER_CHECKPOINT_KEY: `${database}.key`,
    DRAINLEDGER_HEAD_FILE: `${database}.head`,
    DRAINLEDGER_ESCROW_FILE: `${database}.escrow`,
  });
}

export async function startServiceWith(
  port: number,
  database: string,
  settings: Readonly<Record<string, string>>,
): Promise<Process> {
  const running = start('main.js', [], {
    PATH: process.env.PATH,
    NODE_NO_WARNINGS: '1',
    DRAINLEDGER_DATABASE: database,
    DRAINLEDGER_ORIGIN: 'e2e.example',
    DRAINLEDGER_DEVELOPMENT: 'yes',
    DRAINLEDGER_PORT: String(port),
    DRAINLEDGER_LOG_LEVEL: 'fatal',
    ...settings,
  });
  await answers(`http://127.0.0.1:${port}/livez`);
  return running;
}

/** Waits until a URL answers 200. @throws when it does not within 15 s */
async function answers(url: string): Promise<void> {
  const end = Date.now() + 15_000;
  while (Date.now() < end) {
    try {
      if ((await fetch(url)).ok) return;
    } catch {
      // Not listening yet.
    }
    await new Promise((resolve) => setTimeout(resolve, 20));
  }
  throw new Error(`${url} did not answer within 15 s`);
}
