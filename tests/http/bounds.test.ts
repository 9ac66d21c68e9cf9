/**
 * What a client that is confined may not see, asked of every route of the API reference with names of another patient's
 * things in every place that takes one. Sources: OWASP API Security Top 10 2023, API1 (object level); SMART App Launch
 * 2.2.0 (a patient scope is of one patient).
 */
import { spawnSync } from 'node:child_process';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { makeKeyFile } from '../../src/audit/key-file.ts';
import { writeMapping } from '../hl7v2/messages.ts';
import { type Guarded, startGuarded } from './access-control.ts';
import { type Request, requestsWith } from './bounds-requests.ts';
import { chartGone, chartWard, erasedNames, type Names, SECRETS, TARGET, type Ward } from './bounds-ward.ts';
import { at, id } from './messages.ts';
import { startTestService } from './service.ts';

const folder = mkdtempSync(join(tmpdir(), 'bounds-'));
const ALL = 'system/*.cruds drainledger/operate drainledger/audit';
let guarded: Guarded;
let full: string;
let ward: Ward;

/** Of a patient of the past. */
let erased: string;

beforeAll(async () => {
  const at = (name: string) => join(folder, name);
  makeKeyFile(at('log.pem'));
  writeFileSync(
    at('witnesses'),
    `${run('witness/witness.js', 'new', at('witness.pem'), '--name', 'witness.example')}`,
  );
  writeFileSync(at('targets.json'), JSON.stringify({ targets: [TARGET] }));
  const ledger = { DRAINLEDGER_DATABASE: at('ledger.db'), DRAINLEDGER_CHECKPOINT_KEY: at('log.pem') };
  const before = await startTestService(ledger);
  erased = await chartGone(before);
  await before.stop();
  const order = ['--patient', 'Patient/erased-patient', '--by', 'Practitioner/n1', '--reason', 'invented'];
  run('cli/main.js', 'erase', ...order, ledger);
  guarded = await startGuarded({
    ...ledger,
    DRAINLEDGER_HL7V2: writeMapping(folder),
    DRAINLEDGER_TARGETS: at('targets.json'),
    DRAINLEDGER_WITNESSES: at('witnesses'),
    DRAINLEDGER_REQUESTS_PER_MINUTE: '1000000',
  });
  full = await guarded.token({ scope: ALL });
  ward = await chartWard(guarded, full);
});

/** One of our programs as it is shipped; what comes last may be its environment. */
function run(program: string, ...said: readonly (string | Readonly<Record<string, string>>)[]): string {
  const file = fileURLToPath(new URL(`../../dist/${program}`, import.meta.url));
  const args = said.filter((each) => typeof each === 'string');
  const env = {
    PATH: process.env.PATH,
    DRAINLEDGER_ORIGIN: 'test.example',
    ...Object.assign({}, ...said.filter((each) => typeof each === 'object')),
  };
  const { status, stdout, stderr } = spawnSync(process.execPath, [file, ...args], { encoding: 'utf8', env });
  expect([status, stderr]).toEqual([0, '']);
  return stdout;
}
afterAll(async () => {
  await guarded.stop();
  rmSync(folder, { recursive: true });
});

const ask = async (token: string, { method, path, type, body, headers = {} }: Request) => {
  const answer = await fetch(`${guarded.service.url}${path}`, {
    method,
    headers: {
      authorization: `Bearer ${token}`,
      ...(type === undefined ? {} : { 'content-type': type }),
      ...headers,
    },
    ...(body === undefined ? {} : { body }),
    signal: AbortSignal.timeout(5000),
  });
  const isLive = answer.headers.get('content-type')?.startsWith('text/event-stream');
  if (isLive === true) await answer.body?.cancel();
  const text = isLive === true ? '' : await answer.text();
  const shown = ['location', 'etag', 'content-location', 'last-modified'].map((name) =>
    answer.headers.get(name),
  );
  return { status: answer.status, text: `${text}\n${shown.join('\n')}` };
};

/** What in an answer is of another patient and was not in the request. */
function leaksIn(
  text: string,
  request: Request,
  { patient, drain, device, ...named }: Names,
): readonly string[] {
  const asked = `${decodeURIComponent(request.path)} ${request.body ?? ''}`;
  const { resources: _resources, paths, ...values } = named;
  // Ids are made of identifiers, so that whoever sent one can make the other.
  const sent =
    asked + (asked.includes(named.placed) ? drain : '') + (asked.includes(named.monitor) ? device : '');
  const names = [`Patient/${patient}`, drain, device, paths.job, ...Object.values(values)];
  return [...SECRETS, ...names].filter((each) => text.includes(each) && !sent.includes(each));
}

const confined = {
  'one drain': () => guarded.key(ALL, { patient: null, drain: ward.mine }),
  'one patient by a key': () => guarded.key(ALL, { patient: { reference: 'Patient/mine' }, drain: null }),
  'one patient by a token': () => guarded.token({ scope: 'patient/*.cruds', patient: 'mine' }),
};

const MOMENT = /\d{4}-\d\d-\d\dT[\d:.]+Z|\w{3}, \d\d \w{3} \d{4} [\d:]+ GMT/g;
/** Of an acknowledgement of HL7 v2: when it was made, and its own id. */
const OF_ACK = /\|\d{14}\+0000\|\|ACK\^R01\^ACK\|\w+/g;

/** With the same word for whatever is named, so that answers of two names can be compared. */
function masked(text: string, { resources, paths, ...names }: Names, key: string): string {
  // Of what is long a refusal quotes the beginning.
  const words = [
    ...Object.values({ ...resources, ...paths }),
    ...Object.values(names),
    names.drain.slice(0, 10),
  ].filter(({ length }) => length >= 8);
  return words
    .sort((a, b) => b.length - a.length)
    .reduce((from, word) => from.replaceAll(word, '#').replaceAll(encodeURIComponent(word), '#'), text)
    .replaceAll(key, 'key')
    .replaceAll(OF_ACK, '|ack')
    .replaceAll(MOMENT, 'moment');
}

/** Refusals whole; of what is answered, what became of each part of it and how much there is: its own drain goes on. */
function toldBy({ status, text }: Awaited<ReturnType<typeof ask>>, names: Names, key: string): string {
  const whole = masked(text, names, key);
  if (status >= 400) return `${status} ${whole}`;
  return `${status} ${whole.match(/"(?:status|total|count|unmatched|refused|recorded)":"?\d+|MSA\|A[AER]/g)?.join() ?? ''}`;
}

/** What a client that asks is told of these names, and by answers that are others for names of nothing. */
async function learnt(token: string, names: Names, key: string) {
  const { document } = guarded.service;
  const keys = [`first-${key}`, `twin-${key}`] as const;
  const asked = requestsWith(document, ward.mine, names, keys[0]);
  const twins = requestsWith(document, ward.mine, ward.nobodys, keys[1]);
  expect(twins.length).toBe(asked.length);
  const routes = Object.values(document.paths).reduce((sum, each) => sum + Object.keys(each).length, 0);
  expect(asked.length).toBeGreaterThan(routes);
  const leaks: string[] = [];
  const tells: string[] = [];
  for (const [n, request] of asked.entries()) {
    const answer = await ask(token, request);
    for (const each of leaksIn(answer.text, request, names))
      leaks.push(`${request.method} ${request.path} ${each}`);
    const other = await ask(token, twins[n] as Request);
    const one = toldBy(answer, names, keys[0]);
    const two = toldBy(other, ward.nobodys, keys[1]);
    if (one !== two) tells.push(`${request.method} ${request.path} ${request.body ?? ''}\n${one}\n${two}`);
  }
  return { leaks, tells };
}

test.each(Object.entries(confined))(
  'a client of %s learns nothing of another, nor whether there is one',
  async (name, tokenOf) => {
    const token = await tokenOf();
    await expect
      .poll(async () => (await ask(token, { method: 'GET', path: `/v1/drains/${ward.mine}` })).status)
      .toBe(200);
    expect(await learnt(token, ward.theirs, String(name.length))).toEqual({ leaks: [], tells: [] });
  },
  300_000,
);

test('nor of one that was lawfully erased, nor whether there was one', async () => {
  const token = await confined['one patient by a token']();
  const names = erasedNames(ward.nobodys, erased);
  expect(await learnt(token, names, 'erased')).toEqual({ leaks: [], tells: [] });
  expect((await ask(full, { method: 'GET', path: `/v1/drains/${erased}` })).status).toBe(410);
}, 300_000);

test('who is not confined is shown all of it by the same requests', async () => {
  const shown = new Set<string>();
  for (const request of requestsWith(guarded.service.document, ward.mine, ward.theirs, 'full')) {
    if (request.method !== 'GET' || request.path.includes('?')) continue;
    const { text } = await ask(full, request);
    for (const each of SECRETS) if (text.includes(each)) shown.add(each);
  }
  expect([...shown].sort()).toEqual([...SECRETS].sort());
  const { delivery, job, file } = ward.theirs.paths;
  for (const path of [`/fhir/export/${job}`, `/fhir/export/${job}/${file}`, '/audit/checkpoint'])
    expect((await ask(full, { method: 'GET', path })).status, path).toBe(200);
  const { text } = await ask(full, { method: 'GET', path: `/v1/deliveries?drain=${ward.theirs.drain}` });
  expect(text).toContain(delivery);
});

const blind = {
  'chart and not read': 'system/Observation.c system/Device.c system/DeviceUseStatement.c',
  'change and not read': 'system/Observation.cu system/Device.u system/DeviceUseStatement.u',
};

test.each(Object.entries(blind))(
  'a client that may %s is told nothing of whom and by whom, whatever it sends',
  async (name, scope) => {
    const token = await guarded.token({ scope });
    const leaks: string[] = [];
    const hidden = ['canary-note', 'canary-nurse', 'canary-reason', 'Patient/their-patient'];
    const key = `blind-${name.length}`;
    for (const request of requestsWith(guarded.service.document, ward.mine, ward.theirs, key)) {
      if (request.method === 'GET' || request.path.includes('?')) continue;
      const { text } = await ask(token, request);
      for (const each of hidden)
        if (text.includes(each) && !(request.body ?? '').includes(each))
          leaks.push(`${request.method} ${request.path} ${each}`);
    }
    expect(leaks).toEqual([]);
  },
  300_000,
);

test('who may register and assign, and not read, is told that a device or an assignment is there, and nothing of it', async () => {
  const token = await guarded.token({ scope: 'system/Device.c system/DeviceUseStatement.c' });
  const reader = await guarded.token({ scope: 'system/DeviceUseStatement.cr' });
  const use = {
    ...{ resourceType: 'DeviceUseStatement', identifier: [id('their-assignment')], status: 'completed' },
    ...{ subject: { reference: 'Patient/mine' }, device: { identifier: id('their-monitor') } },
    derivedFrom: [{ identifier: id('my-drain') }],
    timingPeriod: { start: at('01:00'), end: at('01:30') },
  };
  const ifNoneExist = { 'if-none-exist': 'identifier=urn:example:ward|their-assignment' };
  const found = await ask(token, {
    ...{ method: 'POST', path: '/fhir/DeviceUseStatement', type: 'application/fhir+json' },
    ...{ body: JSON.stringify(use), headers: ifNoneExist },
  });
  // No body: what is left is where it is, and its version.
  expect([found.status, found.text.startsWith('\n')]).toEqual([200, true]);
  const shown = await guarded.send(reader, 'POST', '/fhir/DeviceUseStatement', use, ifNoneExist);
  expect(JSON.parse(shown.text).subject).toEqual({ reference: 'Patient/their-patient' });
});

test('and nothing of it all is in the log or the metrics, though every route was asked and a target does not answer', async () => {
  const { patient, placed, monitor, reading, assignment, drain } = ward.theirs;
  const names = [
    ...SECRETS,
    patient,
    placed,
    monitor,
    reading,
    assignment,
    drain,
    erased,
    'erased-patient',
    'Invented^Canary',
  ];
  const log = guarded.service.log();
  expect(log).toContain('"route":"/v1/drains/:drain/chart"');
  await expect.poll(() => guarded.service.log()).toMatch(/"target":"ehr"/);
  const metrics = (await ask(full, { method: 'GET', path: '/metrics' })).text;
  expect(metrics).toContain('drainledger_');
  expect(names.filter((each) => log.includes(each))).toEqual([]);
  expect(names.filter((each) => metrics.includes(each))).toEqual([]);
});
