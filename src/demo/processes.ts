/** The two servers of the demo, each a process of its own. */
import { type ChildProcess, spawn } from 'node:child_process';
import { closeSync, openSync, readFileSync } from 'node:fs';
import { createServer } from 'node:net';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { fileURLToPath } from 'node:url';

export interface ServerProcess {
  /** Where it listens, without a slash at the end. */
  readonly url: string;
  /** Asks it to end and waits until it has. @throws {Error} when it did not end well */
  stop(): Promise<void>;
  /** Resolves when it ends without having been asked to. */
  readonly ended: Promise<string>;
}

const START_MS = 15_000;
const STOP_MS = 15_000;
const POLL_MS = 25;

export async function startEhr(folder: string): Promise<ServerProcess> {
  const port = await freePort();
  const url = `http://127.0.0.1:${port}`;
  return started({
    name: 'EHR stand-in',
    log: join(folder, 'ehr-stand-in.log'),
    url,
    ready: `${url}/_received`,
    script: builtFile('../ehr-stand-in/main.js'),
    args: ['--port', String(port)],
    settings: {},
  });
}

export async function startLedger(folder: string, database: string, ehrUrl: string): Promise<ServerProcess> {
  const port = await freePort();
  const url = `http://127.0.0.1:${port}`;
  return started({
    name: 'service',
    log: join(folder, 'service.log'),
    url,
    ready: `${url}/readyz`,
    script: builtFile('../main.js'),
    args: [],
    settings: {
      DRAINLEDGER_DATABASE: database,
      DRAINLEDGER_ORIGIN: 'invented-demo.example',
      DRAINLEDGER_DEVELOPMENT: 'yes',
      DRAINLEDGER_PORT: String(port),
      DRAINLEDGER_EHR_URL: `${ehrUrl}/fhir`,
      DRAINLEDGER_EHR_CEILING_S: '5',
      DRAINLEDGER_LOG_LEVEL: 'info',
    },
  });
}

const builtFile = (path: string): string => fileURLToPath(new URL(path, import.meta.url));

interface Program {
  readonly name: string;
  /** Where its output goes. */
  readonly log: string;
  readonly url: string;
  /** Answers with 200 as soon as it can be used. */
  readonly ready: string;
  readonly script: string;
  readonly args: readonly string[];
  readonly settings: Readonly<Record<string, string>>;
}

async function started(program: Program): Promise<ServerProcess> {
  const { name, log, url, ready } = program;
  const child = spawned(program);
  let stopping = false;
  const exit = new Promise<string>((resolve) => {
    child.once('error', (error) => resolve(`could not be started: ${error.message}`));
    child.once('exit', (code, signal) => resolve(code === null ? `${signal}` : `exit code ${code}`));
  });
  const ended = new Promise<string>((resolve) => {
    exit.then((how) => {
      if (!stopping) resolve(`The ${name} ended by itself (${how}):\n${readFileSync(log, 'utf8')}`);
    });
  });
  await isReady(ready, ended);
  return {
    url,
    ended,
    async stop() {
      stopping = true;
      await stopped(name, child, exit);
    },
  };
}

function spawned({ log, script, args, settings }: Program): ChildProcess {
  const output = openSync(log, 'w', 0o600);
  const env = { ...withoutOurSettings(process.env), ...settings };
  // Detached, so that Ctrl-C reaches the demo alone, which then ends the servers in their right order.
  const child = spawn(process.execPath, [script, ...args], {
    env,
    stdio: ['ignore', output, output],
    detached: true,
  });
  closeSync(output);
  process.once('exit', () => child.kill('SIGKILL'));
  return child;
}

/** A ward's own settings must not reach the demo. */
function withoutOurSettings(env: NodeJS.ProcessEnv): NodeJS.ProcessEnv {
  return Object.fromEntries(Object.entries(env).filter(([name]) => !name.startsWith('DRAINLEDGER_')));
}

async function isReady(url: string, ended: Promise<string>): Promise<void> {
  const gone = ended.then((why) => {
    throw new Error(why);
  });
  const latest = Date.now() + START_MS;
  for (;;) {
    const answered = fetch(url).then(
      ({ ok }) => ok,
      () => false,
    );
    if (await Promise.race([answered, gone])) return;
    if (Date.now() > latest) throw new Error(`${url} was not ready within ${START_MS / 1000} s`);
    await sleep(POLL_MS);
  }
}

async function stopped(name: string, child: ChildProcess, exit: Promise<string>): Promise<void> {
  child.kill('SIGTERM');
  const late = new AbortController();
  const how = await Promise.race([
    exit,
    sleep(STOP_MS, 'too late', { signal: late.signal }).catch(() => 'stopped'),
  ]);
  late.abort();
  if (how === 'too late') {
    child.kill('SIGKILL');
    throw new Error(`The ${name} did not end within ${STOP_MS / 1000} s and was killed`);
  }
  if (how !== 'exit code 0') throw new Error(`The ${name} ended badly: ${how}`);
}

/** A port that was free a moment ago: the service has to know its own address before it starts. */
async function freePort(): Promise<number> {
  const probe = createServer();
  await new Promise<void>((resolve, reject) => {
    probe.once('error', reject);
    probe.listen(0, '127.0.0.1', resolve);
  });
  const address = probe.address();
  await new Promise((resolve) => probe.close(resolve));
  if (address === null || typeof address === 'string') throw new Error('no port was given');
  return address.port;
}
