/** The service as a process, from dist/: how it starts, what it refuses, how it stops. */
import { type ChildProcess, spawn } from 'node:child_process';
import { once } from 'node:events';
import { existsSync, mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { Agent, request } from 'node:http';
import { connect, type Socket } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import Database from 'better-sqlite3';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { entry, placement } from './messages.ts';

const MAIN = fileURLToPath(new URL('../../dist/main.js', import.meta.url));
let folder: string;
const children: ChildProcess[] = [];

beforeEach(() => {
  if (!existsSync(MAIN)) throw new Error(`${MAIN} is missing: npm run build`);
  folder = mkdtempSync(join(tmpdir(), 'process-test-'));
});
afterEach(() => {
  for (const child of children.splice(0)) child.kill('SIGKILL');
  rmSync(folder, { recursive: true });
});

interface Started {
  readonly child: ChildProcess;
  readonly exited: Promise<number | null>;
  output(): { readonly log: string; readonly error: string };
}

function start(env: Readonly<Record<string, string>>): Started {
  const child = spawn(process.execPath, [MAIN], { env: { PATH: process.env.PATH, ...env } });
  children.push(child);
  let [log, error] = ['', ''];
  child.stdout.on('data', (data) => {
    log += data;
  });
  child.stderr.on('data', (data) => {
    error += data;
  });
  const exited = once(child, 'close').then(([code]) => code as number | null);
  return { child, exited, output: () => ({ log, error }) };
}

const working = () => ({
  DRAINLEDGER_DATABASE: join(folder, 'ledger.db'),
  DRAINLEDGER_ORIGIN: 'test.example',
  DRAINLEDGER_DEVELOPMENT: 'yes',
  DRAINLEDGER_PORT: '0',
});

async function listening({ exited, output }: Started): Promise<string> {
  let gone = false;
  void exited.then(() => {
    gone = true;
  });
  for (;;) {
    const url = /"url":"(http:[^"]+)"/.exec(output().log)?.[1];
    if (url !== undefined) return url;
    if (gone) throw new Error(`it did not start: ${output().error}`);
    await sleep(20);
  }
}

const sleep = (ms: number): Promise<void> => new Promise((resolve) => setTimeout(resolve, ms));

interface Sent {
  readonly status: number;
  readonly text: string;
}

function post(agent: Agent, url: string, body: object): Promise<Sent> {
  return new Promise((resolve, reject) => {
    const headers = { 'content-type': 'application/json' };
    const sent = request(url, { agent, method: 'POST', headers }, (answer) => {
      let text = '';
      answer.on('data', (data) => {
        text += data;
      });
      answer.on('end', () => resolve({ status: answer.statusCode ?? 0, text }));
      answer.on('error', reject);
    });
    sent.on('error', reject);
    sent.end(JSON.stringify(body));
  });
}

/** Posts as fast as answers come, on one kept connection, until the server is gone. */
async function client(url: string, name: string): Promise<number> {
  const agent = new Agent({ keepAlive: true, maxSockets: 1 });
  let taken = 0;
  for (let n = 0; ; n += 1) {
    try {
      const { status } = await post(agent, url, entry(`${name}-${n}`, 'negativity-vented', '09:00'));
      expect(status).toBe(201);
      taken += 1;
    } catch (error) {
      agent.destroy();
      if (error instanceof Error && 'code' in error) return taken;
      throw error;
    }
  }
}

function countOf(sql: string): number {
  const db = new Database(join(folder, 'ledger.db'), { readonly: true });
  const count = db.prepare<[], number>(sql).pluck().get();
  db.close();
  return count ?? 0;
}

/** A request of which only the beginning is sent. */
function beginPost(url: string, body: string): { readonly socket: Socket; readonly answer: Promise<string> } {
  const { hostname, port, pathname } = new URL(url);
  const head = `POST ${pathname} HTTP/1.1\r\nhost: localhost\r\ncontent-type: application/json\r\ncontent-length: ${body.length}\r\n\r\n`;
  const socket = connect(Number(port), hostname, () => socket.write(`${head}${body.slice(0, 20)}`));
  let text = '';
  socket.on('data', (data) => {
    text += data;
  });
  return { socket, answer: once(socket, 'close').then(() => text) };
}

describe('it stops', () => {
  test('within 5 s under load; what it began it answers, and what it answered it keeps', async () => {
    const service = start(working());
    const url = await listening(service);
    const agent = new Agent({ keepAlive: true });
    const { drain } = JSON.parse((await post(agent, `${url}/v1/drains`, placement('placed'))).text);
    const entries = `${url}/v1/drains/${drain}/entries`;
    const clients = Array.from({ length: 16 }, (_, n) => client(entries, `client-${n}`));
    const idle = connect(Number(new URL(url).port), '127.0.0.1');
    idle.on('error', () => {});
    const body = JSON.stringify(entry('slow', 'negativity-vented', '09:00'));
    const slow = beginPost(entries, body);
    await sleep(700);

    const stopped = Date.now();
    service.child.kill('SIGTERM');
    await sleep(600);
    slow.socket.write(body.slice(20));
    expect(await service.exited).toBe(0);
    expect(Date.now() - stopped).toBeLessThan(5000);

    expect(await slow.answer).toMatch(/^HTTP\/1\.1 201 .*connection: close/is);
    const taken = (await Promise.all(clients)).reduce((sum, each) => sum + each, 0);
    expect(taken).toBeGreaterThan(16); // each client at least once, however slow the machine
    expect(countOf("SELECT count(*) FROM ledger WHERE stream <> 'configuration'")).toBe(taken + 2);
    agent.destroy();
    idle.destroy();
  });

  test.each(['SIGTERM', 'SIGINT'] as const)('on %s without load, and says so', async (signal) => {
    const service = start(working());
    const url = await listening(service);
    await (await fetch(`${url}/livez`)).text();
    service.child.kill(signal);
    expect(await service.exited).toBe(0);
    const { log } = service.output();
    expect(log).toContain('"msg":"stopped"');
    expect(log.split('\n').filter((line) => line.includes('listening'))).toHaveLength(1);
    expect(service.output().error).toBe('');
  });
});

describe('it does not start', () => {
  test('with a configuration that is wrong: all faults at once, exit code 78', async () => {
    const service = start({
      DRAINLEDGER_ORIGIN: '!',
      DRAINLEDGER_DEVELOPMENT: 'yes',
      DRAINLEDGER_HOST: '0.0.0.0',
      DRAINLEDGER_PORT: '99999',
      DRAINLEDGER_EHR_URL: 'ftp://ehr.example',
      DRAINLEDGER_DATABSE: 'a slip of the pen',
    });
    expect(await service.exited).toBe(78);
    const { error, log } = service.output();
    expect(log).toBe('');
    expect(
      error
        .trim()
        .split('\n')
        .map((line) => line.split(' ')[0])
        .sort(),
    ).toEqual([
      'Configuration',
      'DRAINLEDGER_DATABASE',
      'DRAINLEDGER_DATABSE',
      'DRAINLEDGER_EHR_URL',
      'DRAINLEDGER_HOST',
      'DRAINLEDGER_ORIGIN',
      'DRAINLEDGER_PORT',
    ]);
    expect(error).toContain('DRAINLEDGER_DATABSE is no setting of this service: remove it');
  });

  test('with files that are wrong: all of them at once, each with its setting and place, and nothing is written', async () => {
    const wrong = {
      ACCESS: '{"issuers":[{"issuer":"login","audience":""}],"key_file":"keys.json"}',
      PROFILES: '[{"name":1}]',
      RULES: 'no JSON',
      HL7V2: '{"version":1,"units":[{}]}',
      MLLP: '{"port":"x","scope":"system/Observation.c"}',
      TARGETS: '{"targets":[{"name":"ehr","base_url":"https://ehr.example","mode":"push"}]}',
      WITNESSES: 'no key',
    };
    const files = Object.entries(wrong).map(([name, text]) => {
      const file = join(folder, `${name}.json`);
      writeFileSync(file, text);
      return [`DRAINLEDGER_${name}`, file];
    });
    const { DRAINLEDGER_DEVELOPMENT: _, ...guarded } = working();
    const service = start({
      ...guarded,
      ...Object.fromEntries(files),
      DRAINLEDGER_CHECKPOINT_KEY: join(folder, 'none.pem'),
      DRAINLEDGER_LOG_LEVEL: 'loud',
      DRAINLEDGER_PORT: '99999',
      DRAINLEDGER_ARCHIVE: '',
    });
    expect(await service.exited).toBe(78);
    const { error, log } = service.output();
    expect(log).toBe('');
    const at = (name: string) => join(folder, `${name}.json`);
    for (const line of [
      `DRAINLEDGER_ACCESS ${at('ACCESS')}: /issuers/0/audience is empty; the file has unknown fields: key_file`,
      `DRAINLEDGER_PROFILES ${at('PROFILES')}: the file is no object`,
      `DRAINLEDGER_RULES ${at('RULES')}: `,
      `DRAINLEDGER_HL7V2 ${at('HL7V2')}: /version is no text; /system is missing; `,
      `DRAINLEDGER_MLLP ${at('MLLP')}: /port is no number; /client is missing`,
      `DRAINLEDGER_TARGETS ${at('TARGETS')}: /targets/0/mode is none of probe, `,
      `DRAINLEDGER_WITNESSES ${at('WITNESSES')}:1 is no public key of a witness`,
      `DRAINLEDGER_CHECKPOINT_KEY cannot read the checkpoint key ${join(folder, 'none.pem')}`,
      "DRAINLEDGER_LOG_LEVEL 'loud' is none of fatal, error, ",
      "DRAINLEDGER_PORT '99999' is no port",
      "DRAINLEDGER_ARCHIVE '' is empty",
    ])
      expect(error).toContain(`\n${line}`);
    expect(error.trim().split('\n')).toHaveLength(12);
    expect(existsSync(join(folder, 'ledger.db'))).toBe(false);
  });

  test.each([
    ['that is not there', () => {}],
    ['that is no file', (file: string) => mkdirSync(file)],
  ])('with a file %s: its setting is named', async (_what, make) => {
    const file = join(folder, 'profiles.json');
    make(file);
    const service = start({ ...working(), DRAINLEDGER_PROFILES: file });
    expect(await service.exited).toBe(78);
    expect(service.output().error).toMatch(
      /^Configuration cannot be used:\nDRAINLEDGER_PROFILES \S+profiles.json: (ENOENT|EISDIR): .*\n$/,
    );
  });

  test('on a database that another process uses, which goes on', async () => {
    const first = start(working());
    const url = await listening(first);
    const second = start(working());
    expect(await second.exited).toBe(78);
    expect(second.output().error).toContain(`is in use by another process: pid ${first.child.pid}`);
    expect((await fetch(`${url}/readyz`)).status).toBe(200);
  });
});
