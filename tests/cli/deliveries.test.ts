/** Deliveries and targets from the command line, with the real service and an EHR that refuses until it is mended. */
import { execFile } from 'node:child_process';
import { existsSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { createServer, type Server } from 'node:http';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { level, placeDrain, setUp, tell } from '../http/messages.ts';
import { startTestService, type TestService } from '../http/service.ts';
import { closed, listening } from '../support/local-server.ts';

const MAIN = fileURLToPath(new URL('../../dist/cli/main.js', import.meta.url));
/** Types that the target says it takes. */
let types = ['Observation'];
const capability = () => ({
  resourceType: 'CapabilityStatement',
  fhirVersion: '4.0.1',
  software: { name: 'Test EHR' },
  rest: [
    {
      mode: 'server',
      interaction: [{ code: 'transaction' }],
      resource: types.map((type) => ({ type, interaction: [{ code: 'update' }], updateCreate: true })),
    },
  ],
});

let folder: string;
let server: Server;
let file: string;
let service: TestService;
let status = 422;
let written: (string | undefined)[] = [];

beforeAll(async () => {
  if (!existsSync(MAIN)) throw new Error(`${MAIN} is missing: npm run build`);
  folder = mkdtempSync(join(tmpdir(), 'deliveries-cli-'));
  server = createServer((request, response) => {
    request.resume().on('end', () => {
      if (request.method !== 'GET') written.push(request.url);
      const isAsked = request.url?.endsWith('/metadata') === true;
      response.writeHead(isAsked ? 200 : status, { 'content-type': 'application/fhir+json' });
      response.end(isAsked ? JSON.stringify(capability()) : '');
    });
  });
  const base_url = `${await listening(server)}/fhir`;
  file = join(folder, 'targets.json');
  writeFileSync(file, JSON.stringify({ targets: [{ name: 'ehr', base_url, facts: ['level'] }] }));
  service = await startTestService({ DRAINLEDGER_TARGETS: file });
});
afterAll(async () => {
  await service.stop();
  await closed(server);
  rmSync(folder, { recursive: true });
});

interface Ran {
  readonly code: number;
  readonly out: string;
  readonly error: string;
}
function cli(...args: readonly string[]): Promise<Ran> {
  return new Promise((resolve) => {
    execFile(process.execPath, [MAIN, ...args], { env: { PATH: process.env.PATH } }, (failure, out, error) =>
      resolve({ code: typeof failure?.code === 'number' ? failure.code : 0, out, error }),
    );
  });
}
const asked = (...args: readonly string[]) => cli(...args, '--url', service.url);
const BY = ['--by', 'Practitioner/n1', '--reason', 'mended there'];

async function untilListed(...words: readonly string[]): Promise<string> {
  for (let tries = 0; tries < 50; tries += 1) {
    const { out } = await asked('deliveries', 'list');
    if (words.length === 0 ? out === '' : words.every((word) => out.includes(word))) return out;
  }
  throw new Error(`never listed: ${words.join(', ')}`);
}

/** Names of two deliveries that were refused; where in the ledger they stand, its own entries among them decide. */
async function bothDead(drain: string): Promise<string[]> {
  for (let tries = 0; tries < 50; tries += 1) {
    const { out } = await asked('deliveries', 'list');
    const dead = new RegExp(`^(ehr\\.${drain}\\.\\d+) {2}dead.*HTTP 422`, 'gm');
    const names = [...out.matchAll(dead)].map(([, name = '']) => name);
    if (names.length === 2) return names;
  }
  throw new Error('never both dead');
}

describe('targets check', () => {
  it('says what a target can do and would be sent, and sends nothing', async () => {
    written = [];
    const { code, out } = await cli('targets', 'check', file);
    expect(code).toBe(0);
    expect(out).toContain('FHIR 4.0.1, Test EHR');
    expect(out).toContain('a transaction of PUTs under our ids for each entry, as it says it can');
    expect(out).toContain('would be sent, of Observation: level');
    expect(out).toContain('profile base: as it is issued');
    expect(written).toEqual([]);
  });

  it('says that a target cannot be sent a profile whose types it does not take', async () => {
    const pocd = join(folder, 'pocd.json');
    const [target] = (JSON.parse(readFileSync(file, 'utf8')) as { targets: object[] }).targets;
    writeFileSync(pocd, JSON.stringify({ targets: [{ ...target, profile: 'pocd' }] }));
    expect(await cli('targets', 'check', pocd)).toMatchObject({
      code: 1,
      out: expect.stringContaining(
        'CANNOT BE USED: it takes no Device, no DeviceMetric, which profile pocd needs',
      ),
    });
    types = ['Observation', 'Device', 'DeviceMetric'];
    expect(await cli('targets', 'check', pocd)).toMatchObject({
      code: 0,
      out: expect.stringMatching(
        /would be sent, of Observation, Device, DeviceMetric: level\n {2}profile pocd: /,
      ),
    });
    types = ['Observation'];
  });

  it('fails where one cannot be used, and tells all that is wrong in a file', async () => {
    const bad = join(folder, 'bad.json');
    writeFileSync(bad, JSON.stringify({ targets: [{ name: 'gone', base_url: 'http://127.0.0.1:1/fhir' }] }));
    expect(await cli('targets', 'check', bad)).toMatchObject({
      code: 1,
      out: expect.stringContaining('CANNOT BE USED: its /metadata cannot be read: not sent: ECONNREFUSED'),
    });
    writeFileSync(bad, JSON.stringify({ targets: [{ name: 'X', base_url: 'ftp://x' }] }));
    const { code, out } = await cli('targets', 'check', bad);
    expect(code).toBe(1);
    expect(out).toMatch(/name is no name.*base_url is no http/);
  });
});

describe('deliveries', () => {
  it('are listed, skipped, sent again and replayed', async () => {
    const drain = await placeDrain(service, 'd', '08:00', { patient: { reference: 'Patient/p1' } });
    await tell(drain, setUp('set-up', '08:00', 0), level('a', '09:00', 120), level('b', '10:00', 200));
    const [first = ''] = await bothDead(drain.drain);
    status = 200;
    expect(await asked('deliveries', 'skip', first, ...BY)).toMatchObject({
      code: 0,
      out: `${first} will not be sent\n`,
    });
    expect(await asked('deliveries', 'requeue', '--target', 'ehr', ...BY)).toMatchObject({
      code: 0,
      out: expect.stringContaining('1 will be sent again'),
    });
    await untilListed('skipped');
    expect((await asked('deliveries', 'list', '--state', 'dead')).out).toBe('');
    const replay = ['--from', '2020-01-01T00:00:00Z', '--to', '2100-01-01T00:00:00Z'];
    expect(await asked('deliveries', 'replay', '--target', 'ehr', ...replay, ...BY)).toMatchObject({
      code: 0,
      out: expect.stringContaining('1 drains'),
    });
    const events = (await asked('deliveries', 'events', '--drain', drain.drain)).out;
    for (const kind of ['sending', 'dead', 'skipped', 'requeued', 'delivered', 'mended there'])
      expect(events).toContain(kind);
    expect((await asked('targets', 'list')).out).toMatch(/^ehr {2}working/);
  });

  it('are left alone where the order is not whole, or nothing answers', async () => {
    expect(await asked('deliveries', 'requeue', '--target', 'ehr', '--reason', 'x')).toMatchObject({
      code: 1,
      error: '--by is missing\n',
    });
    for (const narrower of [
      ['--target', 'ehr'],
      ['--drain', 'abc'],
    ])
      expect(await asked('deliveries', 'requeue', 'ehr.abc.1', ...narrower, ...BY)).toMatchObject({
        code: 1,
        error: `name a delivery, or give --target, not both: ehr.abc.1 says its target and drain itself, so leave ${narrower[0]} out\n`,
      });
    expect(await asked('deliveries', 'skip', 'ehr.d.1', '--by', 'nurse', '--reason', 'x')).toMatchObject({
      code: 1,
    });
    expect(await asked('deliveries', 'skip', 'ehr.abc.1', ...BY)).toMatchObject({
      code: 1,
      error: expect.stringContaining('No delivery waits'),
    });
    expect(await cli('deliveries', 'list', '--url', 'http://127.0.0.1:1')).toMatchObject({
      code: 1,
      error: expect.stringContaining('no service answers'),
    });
    expect(await asked('deliveries', 'dance')).toMatchObject({ code: 64 });
  });
});
