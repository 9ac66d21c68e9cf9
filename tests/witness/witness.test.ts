/** The witness as it runs elsewhere: one file in a folder of its own, against a real service, and against one that lies. */
import { execFile, spawnSync } from 'node:child_process';
import { copyFileSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { createServer, type Server } from 'node:http';
import type { AddressInfo } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterEach, beforeEach, expect, test } from 'vitest';
import {
  rawPublicKey,
  readCheckpoint,
  signCheckpoint,
  writeVerifierKey,
} from '../../src/audit/checkpoint.ts';
import { cosignatureBy, readWitnessKey } from '../../src/audit/cosignature.ts';
import { makeKeyFile, readKeyFile } from '../../src/audit/key-file.ts';
import { level, placeDrain, setUp, tell } from '../http/messages.ts';
import { startTestService, type TestService } from '../http/service.ts';
import { until } from '../support/until.ts';

const DIST = fileURLToPath(new URL('../../dist', import.meta.url));
const LOG = 'test.example';
let folder: string;
let service: TestService | undefined;
let settings: Record<string, string>;
let logKey: string;
let witness: string;
const at = (name: string): string => join(folder, name);

beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'witness-test-'));
  logKey = writeVerifierKey(LOG, rawPublicKey(makeKeyFile(at('key.pem'))));
  copyFileSync(join(DIST, 'witness/witness.js'), at('witness.mjs'));
  const made = spawnSync(
    process.execPath,
    [at('witness.mjs'), 'new', at('witness.pem'), '--name', 'witness.example'],
    { encoding: 'utf8' },
  );
  witness = made.stdout.trim();
  writeFileSync(at('witnesses'), `${witness}\n`);
  settings = {
    DRAINLEDGER_DATABASE: at('ledger.db'),
    DRAINLEDGER_CHECKPOINT_KEY: at('key.pem'),
    DRAINLEDGER_WITNESSES: at('witnesses'),
  };
});
afterEach(async () => {
  await service?.stop();
  service = undefined;
  rmSync(folder, { recursive: true });
});

/** Run as by cron, with no environment. */
function look(url: string, ...more: string[]): Promise<{ code: number; out: string }> {
  const own = [
    '--log-key',
    logKey,
    '--name',
    'witness.example',
    '--key',
    at('witness.pem'),
    '--state',
    at('state'),
  ];
  return new Promise((resolve) => {
    execFile(process.execPath, [at('witness.mjs'), 'look', url, ...own, ...more], { env: {} }, (error, out) =>
      resolve({ code: Number(error?.code ?? 0), out: out.trim() }),
    );
  });
}
function cli(...args: string[]) {
  const env = { PATH: process.env.PATH, DRAINLEDGER_ORIGIN: LOG, ...settings };
  const { status, stdout, stderr } = spawnSync(process.execPath, [join(DIST, 'cli/main.js'), ...args], {
    env,
    encoding: 'utf8',
  });
  return { code: status, text: stdout + stderr };
}
async function start(): Promise<TestService> {
  service = await startTestService(settings);
  return service;
}
const overview = async (of: TestService) => JSON.parse((await of.send('GET', '/audit/')).text);
const covered = (of: TestService, size: number) =>
  until(async () => (await overview(of)).checkpoint_size >= size);
const post = (of: TestService, text: string) =>
  of.send('POST', '/audit/cosignatures', text, { 'content-type': 'text/plain' });
const noteOf = (text: string) => {
  const note = readCheckpoint(text);
  if (note === undefined) throw new Error(`no checkpoint: ${text}`);
  return note;
};

/** A drain with one reading: 5 entries with the configuration and the key. */
async function charted(of: TestService): Promise<string> {
  const own = await placeDrain(of, 'one', '08:00', { patient: { reference: 'Patient/1' } });
  await tell(own, setUp('up', '08:00', 0), level('l-1', '09:00', 120));
  await covered(of, 5);
  return own.drain;
}

test('what it cosigned is served, kept, shipped in audit bundles, and checked by every verifier', async () => {
  const own = await start();
  const drain = await charted(own);
  expect(await look(own.url)).toEqual({ code: 0, out: `5 entries of ${LOG}` });
  const key = readWitnessKey(witness);
  const served = noteOf((await own.send('GET', '/audit/checkpoint?cosigned=true')).text);
  const said = key && cosignatureBy(served, key);
  expect(served.size).toBe(5);
  expect(Math.abs((said ? said.atS : 0) - Date.now() / 1000)).toBeLessThan(60);
  expect(await overview(own)).toMatchObject({ witnesses: [{ key: witness, size: 5 }] });

  // Nobody has cosigned the newest checkpoint by then; the one before it covers all of the drain.
  await placeDrain(own, 'two', '08:00', { patient: { reference: 'Patient/2' } });
  await covered(own, 6);
  const bundle = at('bundle');
  expect(cli('audit-bundle', '--drain', drain, '--out', bundle).code).toBe(0);
  const words = `cosigned by witness.example at ${new Date((said ? said.atS : 0) * 1000).toISOString()}`;
  for (const [program, file] of [
    [process.execPath, 'verify.mjs'],
    ['python3', 'verify.py'],
  ] as const) {
    const run = spawnSync(program, [join(bundle, file), '--key', logKey, '--witness', witness], {
      encoding: 'utf8',
    });
    if (run.error !== undefined) console.warn(`skipped: ${program} is missing on this machine`);
    else expect(run).toMatchObject({ status: 0, stdout: expect.stringContaining(words) });
  }
  expect(cli('verify', bundle, '--key', logKey, '--witness', witness).text).toContain(words);
  expect(cli('verify', at('ledger.db'), '--key', logKey, '--witness', witness)).toMatchObject({
    code: 0,
    text: expect.stringContaining('witness.example cosigned 1 of these, the newest of 5 entries'),
  });
  const last = ['--checkpoint', at('state/last')];
  expect(cli('verify', at('ledger.db'), '--key', logKey, '--witness', witness, ...last).code).toBe(0);
});

test('goes on from what it saw last, minute by minute, and says the same again where nothing came', async () => {
  const own = await start();
  const drain = await charted(own);
  expect((await look(own.url)).code).toBe(0);
  const first = readFileSync(at('state/last'), 'utf8');
  expect(await look(own.url)).toEqual({ code: 0, out: `5 entries of ${LOG}` });
  expect(readFileSync(at('state/last'), 'utf8')).toBe(first);
  await own.send('POST', `/v1/drains/${drain}/entries`, level('l-2', '10:00', 130));
  await covered(own, 6);
  expect(await look(own.url)).toEqual({ code: 0, out: `6 entries of ${LOG}` });
  expect(await overview(own)).toMatchObject({ witnesses: [{ size: 6 }] });
});

test('a history that was rewritten, and signed with the key of the log, is refused, and both are kept as evidence', async () => {
  const own = await start();
  await charted(own);
  expect((await look(own.url)).code).toBe(0);
  const root = Buffer.alloc(32, 7).toString('base64');
  const lying = signCheckpoint(
    { origin: LOG, size: 6, root: Buffer.from(root, 'base64') },
    readKeyFile(at('key.pem')),
  );
  const proof = (await own.send('GET', '/audit/consistency?from=3&to=5')).text;
  const liar = await answering({ '/audit/checkpoint': lying, '/audit/consistency': proof });
  const before = readFileSync(at('state/last'), 'utf8');
  expect(await look(liar.url)).toEqual({
    code: 1,
    out: 'its first 5 entries are not those that were seen: this is another history',
  });
  liar.server.close();
  expect(liar.posted).toEqual([]);
  expect(readFileSync(at('state/last'), 'utf8')).toBe(before);
  const [against = ''] = readdirSync(at('state')).filter((name) => name.startsWith('against-6-'));
  expect(readFileSync(at(`state/${against}`), 'utf8')).toBe(`${before}\n${lying}`);
  // Whoever is shown the other history can show it to the log too.
  const other = lying.replace('\n6\n', '\n5\n');
  expect(await post(own, other)).toMatchObject({ status: 422 });
});

test('an old copy that was put in its place lacks entries', async () => {
  const own = await start();
  const drain = await charted(own);
  await own.send('POST', `/v1/drains/${drain}/entries`, level('l-2', '10:00', 130));
  await covered(own, 6);
  const old = (await own.send('GET', '/audit/checkpoint')).text;
  await own.send('POST', `/v1/drains/${drain}/entries`, level('l-3', '11:00', 140));
  await covered(own, 7);
  expect((await look(own.url)).code).toBe(0);
  const liar = await answering({ '/audit/checkpoint': old });
  expect(await look(liar.url)).toEqual({
    code: 2,
    out: 'it has 6 entries, and had 7: the newest are missing',
  });
  liar.server.close();
});

test('a key that it was not given, a log under another name, and an answer that is none', async () => {
  const own = await start();
  await charted(own);
  const stranger = makeKeyFile(at('stranger.pem'));
  const root = Buffer.alloc(32, 1);
  for (const [text, code, words] of [
    [signCheckpoint({ origin: LOG, size: 5, root }, stranger), 3, 'not signed by the key that was given'],
    [
      signCheckpoint({ origin: `${LOG}/restored-1`, size: 5, root }, readKeyFile(at('key.pem'))),
      3,
      'ask what became of it',
    ],
    [(await own.send('GET', '/audit/checkpoint')).text.replace('\n5\n', '\n4\n'), 1, 'does not fit'],
    ['<html>', 4, 'is no checkpoint'],
  ] as const) {
    const liar = await answering({ '/audit/checkpoint': text });
    const said = await look(liar.url);
    liar.server.close();
    expect({ ...said, posted: liar.posted }).toEqual({
      code,
      out: expect.stringContaining(words),
      posted: [],
    });
  }
  expect((await look('http://127.0.0.1:9')).code).toBe(4);
  writeFileSync(at('token'), 'secret', { mode: 0o600 });
  expect(await look('http://log.example', '--token-file', at('token'))).toMatchObject({
    code: 4,
    out: expect.stringContaining('is not https'),
  });
});

test('the service keeps the word of nobody else, and of nothing that it did not sign', async () => {
  const own = await start();
  await charted(own);
  expect(await own.send('GET', '/audit/checkpoint?cosigned=true')).toMatchObject({ status: 404 });
  expect((await look(own.url)).code).toBe(0);
  const good = (await own.send('GET', '/audit/checkpoint?cosigned=true')).text;
  for (const [text, status, words] of [
    ['words', 422, 'is no checkpoint'],
    [good.replace(/— witness.*\n$/, ''), 422, 'is no witness of this log'],
    [good.replace('\n5\n', '\n4\n'), 422, 'signed something else'],
    [good.replace(/.{8}\n$/, 'AAAAAAA=\n'), 422, 'signed something else'],
  ] as const)
    expect(await post(own, text)).toMatchObject({ status, text: expect.stringContaining(words) });
  expect(await post(own, good)).toMatchObject({ status: 200, text: `{"size":5,"witnesses":["${witness}"]}` });
  // A witness that saw nothing before cosigns another history; here that of the log is known.
  const root = Buffer.alloc(32, 7);
  for (const [size, status] of [
    [5, 409],
    [9, 404],
  ] as const) {
    const other = signCheckpoint({ origin: LOG, size, root }, readKeyFile(at('key.pem')));
    const liar = await answering({ '/audit/checkpoint': other });
    await look(liar.url, '--state', at(`state-${size}`));
    liar.server.close();
    expect((await post(own, readFileSync(at(`state-${size}/last`), 'utf8'))).status).toBe(status);
  }
  await service?.stop();
  service = undefined;
  writeFileSync(at('witnesses'), `${logKey}\n`);
  await expect(start()).rejects.toThrow('witnesses:1 is no public key of a witness');
});

test('a verifier that wants the word of a witness who said nothing is told so: 2', async () => {
  const own = await start();
  const drain = await charted(own);
  await own.stop();
  service = undefined;
  expect(cli('verify', at('ledger.db'), '--key', logKey, '--witness', witness)).toMatchObject({
    code: 2,
    text: expect.stringContaining('witness.example cosigned no checkpoint of it'),
  });
  expect(cli('audit-bundle', '--drain', drain, '--out', at('bundle')).code).toBe(0);
  expect(cli('verify', at('bundle'), '--key', logKey, '--witness', witness).code).toBe(2);
  expect(cli('verify', at('bundle'), '--key', logKey, '--witness', logKey).text).toContain('--witness');
});

/** A service that answers as it is told, and what was sent to it. */
async function answering(
  answers: Readonly<Record<string, string>>,
): Promise<{ url: string; server: Server; posted: string[] }> {
  const posted: string[] = [];
  const server = createServer((request, response) => {
    const [path = ''] = (request.url ?? '').split('?');
    if (request.method === 'POST') posted.push(path);
    response.writeHead(answers[path] === undefined ? 404 : 200).end(answers[path]);
  });
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
  return { url: `http://127.0.0.1:${(server.address() as AddressInfo).port}`, server, posted };
}
