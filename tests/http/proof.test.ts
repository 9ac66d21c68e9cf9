/** What an auditor sees of a running service, and what the service does when its ledger is not what was seen of it. */
import { spawnSync } from 'node:child_process';
import { copyFileSync, cpSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { createServer } from 'node:http';
import type { AddressInfo } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { readCheckpoint, readVerifierKey, signerOf } from '../../src/audit/checkpoint.ts';
import { makeKeyFile } from '../../src/audit/key-file.ts';
import { isBeginning, isIncluded, leafOf } from '../../src/audit/merkle.ts';
import { readEscrow } from '../../src/escrow/escrow-file.ts';
import { tamper } from '../cli/tampered.ts';
import { until } from '../support/until.ts';
import { level, placeDrain, setUp, tell } from './messages.ts';
import { startTestService, type TestService } from './service.ts';

const CLI = fileURLToPath(new URL('../../dist/cli/main.js', import.meta.url));
let folder: string;
let settings: Record<string, string>;
const running: TestService[] = [];

beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'proof-test-'));
  makeKeyFile(join(folder, 'key.pem'));
  settings = {
    DRAINLEDGER_DATABASE: join(folder, 'ledger.db'),
    DRAINLEDGER_CHECKPOINT_KEY: join(folder, 'key.pem'),
    DRAINLEDGER_HEAD_FILE: join(folder, 'head'),
    DRAINLEDGER_ESCROW_FILE: join(folder, 'escrow.ndjson'),
  };
});
afterEach(async () => {
  for (const each of running.splice(0)) await each.stop();
  rmSync(folder, { recursive: true });
});

async function start(more: Readonly<Record<string, string>> = {}): Promise<TestService> {
  const service = await startTestService({ ...settings, ...more });
  running.push(service);
  return service;
}
const stop = async (): Promise<void> => {
  await running.pop()?.stop();
};
const get = async (service: TestService, path: string, status = 200): Promise<string> => {
  const answer = await service.send('GET', path);
  expect({ path, status: answer.status, text: answer.text }).toMatchObject({ path, status });
  return answer.text;
};

interface Overview {
  readonly origin: string;
  readonly size: number;
  readonly checkpoint_size: number | null;
  readonly keys: readonly string[];
  readonly told: readonly { readonly to: string; readonly failing_since: string | null }[];
}
const overview = async (service: TestService): Promise<Overview> => JSON.parse(await get(service, '/audit/'));
const covered = (service: TestService, size: number) =>
  until(async () => ((await overview(service)).checkpoint_size ?? 0) >= size);
const noted = (text: string) => {
  const note = readCheckpoint(text);
  if (note === undefined) throw new Error(`no checkpoint: ${text}`);
  return note;
};
const hashesOf = (lines: readonly string[]) => lines.map((line) => Buffer.from(line, 'base64'));

function cli(...args: string[]) {
  const run = spawnSync(process.execPath, [CLI, ...args], {
    env: { PATH: process.env.PATH, DRAINLEDGER_ORIGIN: 'test.example', ...settings },
    encoding: 'utf8',
    timeout: 30_000,
  });
  return { code: run.status, out: run.stdout, err: run.stderr };
}
const publicKey = (file = 'key.pem') => cli('checkpoint-key', 'show', join(folder, file)).out.trim();

async function charted(service: TestService): Promise<string> {
  const own = await placeDrain(service, 'one', '08:00', { patient: { reference: 'Patient/1' } });
  await tell(own, setUp('up', '08:00', 0), level('l-1', '09:00', 120));
  return own.drain;
}
const chart = (service: TestService, drain: string, key: string, time: string) =>
  service.send('POST', `/v1/drains/${drain}/entries`, level(key, time, 130));

describe('an auditor', () => {
  test('sees each entry covered within seconds, by a key that the log names, and can prove it offline', async () => {
    const service = await start();
    const drain = await charted(service);
    const written = Date.now();
    await covered(service, 5);
    // One second to the next checkpoint, and what a slow machine needs to make it.
    expect(Date.now() - written).toBeLessThan(5000);
    const { keys } = await overview(service);
    const key = readVerifierKey(keys[0] ?? '')?.key ?? Buffer.alloc(0);
    expect(keys).toEqual([publicKey()]);

    const { entries } = JSON.parse(await get(service, `/v1/drains/${drain}/entries`));
    for (const { log_index, hash } of entries) {
      const [proof = '', ...rest] = (await get(service, `/audit/proof?index=${log_index}`)).split('\n\n');
      const [kind, index, ...lines] = proof.split('\n');
      expect([kind, index]).toEqual(['c2sp.org/tlog-proof@v1', `index ${log_index}`]);
      const note = noted(rest.join('\n\n'));
      expect(signerOf(note, [key])).toEqual(key);
      expect(isIncluded(leafOf(hash), log_index, note.size, hashesOf(lines), note.root)).toBe(true);
    }
  });

  test('can prove that the log was only added to, from any checkpoint to any later one', async () => {
    const service = await start();
    const drain = await charted(service);
    await covered(service, 5);
    const older = noted(await get(service, '/audit/checkpoint'));
    await chart(service, drain, 'l-2', '10:00');
    await covered(service, 6);
    const newer = noted(await get(service, '/audit/checkpoint'));
    const proof = JSON.parse(await get(service, `/audit/consistency?from=${older.size}&to=${newer.size}`));
    expect(isBeginning(older, newer, hashesOf(proof.hashes))).toBe(true);
    expect(JSON.parse(await get(service, `/audit/consistency?from=${older.size}`))).toEqual(proof);
  });

  test('is told what is wrong with a question', async () => {
    const service = await start();
    await covered(service, 2);
    for (const [path, status, words] of [
      ['/audit/proof', 400, '?index is missing'],
      ['/audit/proof?index=-1', 400, 'is no count of entries'],
      ['/audit/proof?index=2', 404, 'No checkpoint covers entry 2 yet'],
      ['/audit/consistency', 400, '?from is missing'],
      ['/audit/consistency?from=0', 400, 'send 1 to 2'],
      ['/audit/consistency?from=2&to=1', 400, 'send 1 to 1'],
      ['/audit/consistency?from=1&to=3', 404, 'No checkpoint covers a log of 3 entries'],
    ] as const)
      expect(await get(service, path, status)).toContain(words);
  });

  test('gets no signature without a key, and the log says so', async () => {
    const { DRAINLEDGER_DATABASE, DRAINLEDGER_HEAD_FILE } = settings as Record<string, string>;
    settings = { DRAINLEDGER_DATABASE, DRAINLEDGER_HEAD_FILE } as typeof settings;
    const service = await start();
    await charted(service);
    expect(await overview(service)).toMatchObject({ size: 4, checkpoint_size: null, keys: [] });
    expect(await get(service, '/audit/checkpoint', 404)).toContain('DRAINLEDGER_CHECKPOINT_KEY');
    expect(service.log()).toContain('no checkpoint key is configured');
    await until(async () => noted(readFileSync(join(folder, 'head'), 'utf8')).size === 4);
  });
});

describe('checkpoints are told', () => {
  test('to the head file and the escrow file, the last one when the service stops', async () => {
    await charted(await start());
    await stop();
    const head = noted(readFileSync(join(folder, 'head'), 'utf8'));
    const { notes, unreadable } = readEscrow(readFileSync(join(folder, 'escrow.ndjson'), 'utf8'));
    expect([head.size, notes.at(-1)?.size, unreadable]).toEqual([5, 5, []]);
  });

  test('to an HTTP receiver, again until it takes them; that it does not is shown', async () => {
    const taken: string[] = [];
    let refuses = true;
    const receiver = createServer((request, response) => {
      let body = '';
      request.on('data', (part) => {
        body += part;
      });
      request.on('end', () => {
        if (!refuses) taken.push(`${request.method} ${request.headers['content-type']}\n${body}`);
        response.writeHead(refuses ? 500 : 204).end();
      });
    });
    await new Promise<void>((resolve) => receiver.listen(0, '127.0.0.1', resolve));
    const { port } = receiver.address() as AddressInfo;
    try {
      const service = await start({ DRAINLEDGER_ESCROW_URL: `http://127.0.0.1:${port}/checkpoints` });
      const told = async () => (await overview(service)).told.at(-1);
      await until(async () => typeof (await told())?.failing_since === 'string');
      expect((await told())?.to).toBe(`the receiver at 127.0.0.1:${port}`);
      refuses = false;
      await until(async () => taken.length > 0);
      await until(async () => (await told())?.failing_since === null);
      const [first = '', ...note] = (taken[0] ?? '').split('\n');
      expect(first).toBe('POST text/plain; charset=utf-8');
      expect(noted(note.join('\n')).size).toBe(2);
    } finally {
      receiver.closeAllConnections();
      receiver.close();
    }
  });

  test('with the token of a file, read anew each time, which goes to no other host in the clear', async () => {
    const file = join(folder, 'token');
    const more = (url: string) => ({ DRAINLEDGER_ESCROW_URL: url, DRAINLEDGER_ESCROW_TOKEN_FILE: file });
    await expect(start(more('http://siem.example/'))).rejects.toThrow(
      'DRAINLEDGER_ESCROW_URL must be https: the token would go over the network in the clear',
    );
    await expect(start({ DRAINLEDGER_ESCROW_TOKEN_FILE: file })).rejects.toThrow(
      'DRAINLEDGER_ESCROW_TOKEN_FILE needs DRAINLEDGER_ESCROW_URL',
    );
    await expect(start(more('http://127.0.0.1:9/'))).rejects.toThrow(file);
    writeFileSync(file, 'old-token\n', { mode: 0o600 });
    const shown: (string | undefined)[] = [];
    const receiver = createServer((request, response) => {
      shown.push(request.headers.authorization);
      response.writeHead(request.headers.authorization === 'Bearer new-token' ? 204 : 401).end();
      request.resume();
    });
    await new Promise<void>((resolve) => receiver.listen(0, '127.0.0.1', resolve));
    try {
      const service = await start(more(`http://127.0.0.1:${(receiver.address() as AddressInfo).port}/`));
      await until(async () => shown.length > 0);
      writeFileSync(file, 'new-token\n');
      await until(async () => shown.at(-1) === 'Bearer new-token');
      expect(shown[0]).toBe('Bearer old-token');
      await until(async () => (await overview(service)).told.at(-1)?.failing_since === null);
    } finally {
      receiver.closeAllConnections();
      receiver.close();
    }
  });

  test('only with a key: what is not signed proves nothing to others', async () => {
    const { DRAINLEDGER_CHECKPOINT_KEY: _key, ...keyless } = settings;
    settings = keyless;
    await expect(start()).rejects.toThrow('DRAINLEDGER_ESCROW_FILE needs DRAINLEDGER_CHECKPOINT_KEY');
  });
});

describe('a ledger that is not what was seen of it', () => {
  const database = () => settings.DRAINLEDGER_DATABASE as string;

  async function onlyReads(service: TestService, drain: string, words: string): Promise<void> {
    const refused = await chart(service, drain, 'l-9', '11:00');
    expect(refused.status).toBe(503);
    expect(JSON.parse(refused.text)).toMatchObject({ type: 'urn:drainledger:problem:read-only' });
    expect(refused.text).toContain(words);
    expect(refused.text).toContain('cli ledger accept-restored');
    expect(await get(service, '/readyz', 503)).toContain(words);
    await get(service, '/livez');
    expect(await get(service, `/v1/drains/${drain}/chart`)).toContain('"up"');
    expect(service.log()).toContain('it is only read until a person accepts it');
  }

  async function restoredCopy(): Promise<string> {
    const drain = await charted(await start());
    await stop();
    copyFileSync(database(), join(folder, 'old.db'));
    await chart(await start(), drain, 'l-2', '10:00');
    await stop();
    copyFileSync(join(folder, 'old.db'), database());
    return drain;
  }

  test('an old copy is only read until a person accepts it; then the log goes on under another name', async () => {
    const drain = await restoredCopy();
    const service = await start();
    await onlyReads(service, drain, 'it holds 5 entries, and the head file');
    await stop();

    const report = cli('verify', database(), '--key', publicKey(), '--checkpoint', join(folder, 'head'));
    expect(report).toMatchObject({ code: 2, out: expect.stringContaining('this is an old copy') });
    expect(cli('ledger', 'accept-restored', '--reason', 'disk lost').err).toContain('--by');
    const accepted = cli('ledger', 'accept-restored', '--reason', 'disk lost', '--by', 'Practitioner/n9');
    expect(accepted).toMatchObject({ code: 0, out: expect.stringMatching(/^Entry 5 of /) });
    expect(cli('ledger', 'accept-restored', '--reason', 'again', '--by', 'Practitioner/n9')).toMatchObject({
      code: 1,
      err: expect.stringContaining('there is nothing to accept'),
    });

    const again = await start();
    expect((await chart(again, drain, 'l-9', '11:00')).status).toBe(201);
    await covered(again, 7);
    expect(await overview(again)).toMatchObject({ origin: 'test.example/restored-1', size: 7 });
    await stop();
    const escrow = join(folder, 'escrow.ndjson');
    const whole = cli('verify', database(), '--key', publicKey(), '--checkpoint', escrow);
    expect(whole).toMatchObject({ code: 0, out: expect.stringContaining('disk lost') });
    expect(whole.out).toContain('accepted restore has given up');
  });

  test('an old copy that was written to is another history', async () => {
    const drain = await restoredCopy();
    // Somebody starts it where the head file is not known.
    const { DRAINLEDGER_HEAD_FILE: _head, DRAINLEDGER_ESCROW_FILE: _escrow, ...alone } = settings;
    const service = await startTestService(alone);
    for (const key of ['x-1', 'x-2']) await chart(service, drain, key, '10:30');
    await service.stop();
    await onlyReads(await start(), drain, 'this is another history');
  });

  test.each([
    [0.2, '0'],
    [0.9, '[1-4]'],
  ])(
    'one flipped bit in the write-ahead log, which SQLite itself passes over: at %d of it %s',
    async (place) => {
      const service = await start();
      const drain = await charted(service);
      await covered(service, 5);
      const crashed = join(folder, 'crashed.db');
      cpSync(database(), crashed);
      const wal = readFileSync(`${database()}-wal`);
      await until(async () => noted(readFileSync(join(folder, 'head'), 'utf8')).size === 5);
      cpSync(join(folder, 'head'), join(folder, 'crashed-head'));
      await stop();
      const frame = 24 + 4096;
      const at = 32 + frame * Math.floor(((wal.length - 32) / frame) * place) + 1000;
      wal[at] = (wal[at] as number) ^ 1;
      writeFileSync(`${crashed}-wal`, wal);
      settings = {
        DRAINLEDGER_DATABASE: crashed,
        DRAINLEDGER_CHECKPOINT_KEY: settings.DRAINLEDGER_CHECKPOINT_KEY as string,
        DRAINLEDGER_HEAD_FILE: join(folder, 'crashed-head'),
      };
      const again = await start();
      expect(await get(again, '/readyz', 503)).toMatch(
        /it holds [0-4] entries, and the head file .* has seen 5/,
      );
      expect((await chart(again, drain, 'l-9', '11:00')).status).toBe(503);
      await stop();
      const report = cli(
        'verify',
        crashed,
        '--key',
        publicKey(),
        '--checkpoint',
        join(folder, 'crashed-head'),
      );
      expect(report).toMatchObject({ code: 2, out: expect.stringContaining('the newest were dropped') });
    },
  );

  test('a damaged end is only read, and no person can accept it', async () => {
    const drain = await charted(await start());
    await stop();
    tamper(settings.DRAINLEDGER_DATABASE as string, (db) =>
      db.exec("UPDATE payload SET body = replace(body, '120', '121') WHERE log_index = 4"),
    );
    const service = await start();
    expect(await get(service, '/readyz', 503)).toMatch(
      /it is damaged, or somebody changed it: entry 4 .*: its payload is not the one it commits to/,
    );
    expect((await chart(service, drain, 'l-9', '11:00')).status).toBe(503);
    expect((await service.send('GET', `/v1/drains/${drain}/entries`)).status).toBe(200);
    await stop();
    const said = cli('ledger', 'accept-restored', '--reason', 'disk lost', '--by', 'Practitioner/n9');
    expect(said.err).toContain('No person can accept that');
  });

  test('an empty database where there was a ledger', async () => {
    await charted(await start());
    await stop();
    rmSync(database());
    const service = await start();
    expect(await get(service, '/readyz', 503)).toContain('it holds 0 entries, and the head file');
    expect((await service.send('GET', '/v1/drains')).status).toBe(200);
  });

  test('a head of another log stops the start: then a path is wrong', async () => {
    writeFileSync(join(folder, 'head'), `other.example\n0\n${Buffer.alloc(32).toString('base64')}\n`);
    await expect(start()).rejects.toThrow('is of the log other.example, and this one is test.example');
    writeFileSync(join(folder, 'head'), 'words');
    await expect(start()).rejects.toThrow('holds no head of a log');
  });
});

describe('the key', () => {
  test('is handed over in the log; another one, or one that others may read, stops the start', async () => {
    await charted(await start());
    await stop();
    makeKeyFile(join(folder, 'next.pem'));
    const next = { DRAINLEDGER_CHECKPOINT_KEY: join(folder, 'next.pem') };
    await expect(start(next)).rejects.toThrow('hand it over first');
    expect(
      cli(
        'checkpoint-key',
        'rotate',
        next.DRAINLEDGER_CHECKPOINT_KEY,
        join(folder, 'key.pem'),
        '--by',
        'Practitioner/n9',
      ).err,
    ).toContain('is not the key of this log');
    const rotated = cli(
      'checkpoint-key',
      'rotate',
      join(folder, 'key.pem'),
      join(folder, 'next.pem'),
      '--by',
      'Practitioner/n9',
    );
    expect(rotated).toMatchObject({ code: 0, out: expect.stringContaining('Entry 5 hands the log over to') });
    await expect(start()).rejects.toThrow('hand it over first');
    const service = await start(next);
    await covered(service, 6);
    expect((await overview(service)).keys).toEqual([publicKey(), publicKey('next.pem')]);
    await stop();
    for (const key of [publicKey(), publicKey('next.pem')])
      expect(cli('verify', settings.DRAINLEDGER_DATABASE as string, '--key', key).code).toBe(0);
    spawnSync('chmod', ['644', join(folder, 'next.pem')]);
    await expect(start(next)).rejects.toThrow('has mode 0644');
  });
});

describe('a key that was lost', () => {
  const BY = ['--by', 'Practitioner/n9', '--reason', 'the disk broke'];
  const replace = (...args: string[]) => cli('checkpoint-key', 'replace', join(folder, 'next.pem'), ...args);

  test('is replaced by a person, with a reason that every verification tells', async () => {
    const service = await start();
    const drain = await charted(service);
    await covered(service, 5);
    await stop();
    const lost = publicKey();
    makeKeyFile(join(folder, 'next.pem'));
    const next = { DRAINLEDGER_CHECKPOINT_KEY: join(folder, 'next.pem') };
    expect(replace('--reason', 'the disk broke').err).toContain('say who orders it');
    expect(replace('--by', 'Practitioner/n9').err).toContain('--reason is missing');
    expect(replace(...BY)).toMatchObject({
      code: 0,
      out: expect.stringContaining(`Entry 5 names ${publicKey('next.pem')} in place of a key that is lost`),
    });
    expect(replace(...BY).err).toContain('is the key of this log already');
    await expect(start()).rejects.toThrow(
      "where the old one is lost name the new one with 'cli checkpoint-key replace",
    );
    const again = await start(next);
    await covered(again, 6);
    expect((await overview(again)).keys).toEqual([publicKey('next.pem')]);
    await stop();

    const ledger = settings.DRAINLEDGER_DATABASE as string;
    const seen = ['--checkpoint', join(folder, 'escrow.ndjson')];
    const told = cli('verify', ledger, '--key', publicKey('next.pem'), ...seen);
    expect(told).toMatchObject({ code: 0, out: expect.stringContaining('the disk broke') });
    expect(cli('verify', ledger, '--key', lost, ...seen).code).toBe(3);
    const bundle = join(folder, 'bundle');
    expect(cli('audit-bundle', '--drain', drain, '--out', bundle).code).toBe(0);
    expect(readFileSync(join(bundle, 'public-keys.txt'), 'utf8')).toBe(`${publicKey('next.pem')}\n`);
    const said = (key: string) =>
      spawnSync(process.execPath, [join(bundle, 'verify.mjs'), '--key', key], { encoding: 'utf8' });
    expect(said(publicKey('next.pem'))).toMatchObject({
      status: 0,
      stdout: expect.stringContaining('entry 5 says that a key was lost: the disk broke'),
    });
    expect(said(lost)).toMatchObject({ status: 3, stdout: expect.stringContaining('entry 5 says that') });
  });

  test('cannot be replaced where the log never had one', () => {
    makeKeyFile(join(folder, 'next.pem'));
    expect(replace(...BY).err).toContain('the log has no key yet');
  });
});

test('a copy of a ledger in use is whole, and verifies', async () => {
  const service = await start();
  await charted(service);
  await covered(service, 5);
  const to = join(folder, 'copy.db');
  expect(cli('ledger', 'copy', to)).toMatchObject({ code: 0, err: '' });
  expect(
    cli('verify', to, '--key', publicKey(), '--checkpoint', join(folder, 'escrow.ndjson')),
  ).toMatchObject({
    code: 0,
  });
  expect(cli('ledger', 'copy', to).err).toContain('is there already');
});
